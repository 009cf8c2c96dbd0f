"""The way in: log-in, second factors, sessions and limits, made of django-allauth."""
