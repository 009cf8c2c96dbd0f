"""Every address of a site."""


urlpatterns: list = []
