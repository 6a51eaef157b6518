"""How the API pages long lists."""

from rest_framework.pagination import CursorPagination


class Pages(CursorPagination):
    """Newest first, a hundred at a time; a cursor stays right while rows are added."""

    ordering = "-id"
