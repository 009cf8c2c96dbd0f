from django.apps import AppConfig


class OperationsConfig(AppConfig):
    name = "deploy.operations"
    label = "operations"
    verbose_name = "Operations"
