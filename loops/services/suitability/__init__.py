"""Does it suit? Which items of the register may stand where another stands, and which source may feed which devices."""
