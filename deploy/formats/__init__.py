"""How dates are written in each language, where Django writes them otherwise than the pages do."""
