"""What an administrator does with an instance: look after it, back it up, restore it, watch it."""
