"""Tags and filters of the register: those of `language` are there in every template."""
