"""An invented plant with invented makers and people, to try the site with. Nothing here is a real certificate."""
