"""The checks, a module for each family. Every check takes frozen inputs and returns findings."""
