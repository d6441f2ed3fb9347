"""What is known of one machine: tables of keys, the strict reader, values checked when made."""
