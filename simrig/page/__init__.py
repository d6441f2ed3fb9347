"""The page for the phone beside the machine; it asks the same functions as the commands."""
