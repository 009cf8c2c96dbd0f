"""Addresses of the room where it is asked whether something suits."""

from django.urls import path

from loops.views import suits, suits_check, suits_sources, suits_substitution, suits_typed

urlpatterns = [
    path("", suits.find, name="suits"),
    path("sources/", suits_sources.sources, name="suits_sources"),
    path("substitutions/", suits_substitution.substitutions, name="substitutions"),
    path("substitutions/<int:pk>/", suits_substitution.substitution, name="substitution"),
    path("substitutions/<int:pk>/export.<str:suffix>", suits_substitution.export, name="substitution_export"),
    path("loops/<int:pk>/", suits.items, name="suits_loop"),
    path("loops/<int:pk>/items/<int:member_pk>/", suits.candidates, name="suits_item"),
    path("loops/<int:pk>/items/<int:member_pk>/nameplate/", suits_typed.typed_item, name="suits_typed"),
    path("loops/<int:pk>/items/<int:member_pk>/<str:way>/", suits_check.check, name="suits_check"),
]
