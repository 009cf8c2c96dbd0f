"""Texts that try to break what is made of them, put into every text field of every record."""
