"""Django's backend for SQLite, with a queue for those who write."""
