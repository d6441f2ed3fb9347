"""What can break, and what it does: each fault is an edit of the table of links."""
