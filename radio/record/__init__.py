"""What is kept and what leaves: tracings, tables, pictures."""
