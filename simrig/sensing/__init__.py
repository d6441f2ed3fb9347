"""From a ball at a place to a contact: the table of links between them, part by part."""
