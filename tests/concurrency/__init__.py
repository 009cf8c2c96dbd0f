"""Programs that try what happens when many write at once and when servers die. Run by hand: see DEVELOPERS.md.

Each makes an instance of its own in a temporary folder and takes it away again, ends within minutes, tells its numbers
and ends with 1 if anything was lost, doubled or refused that should not be.
"""
