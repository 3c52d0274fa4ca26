"""Filters: ``prototype`` is the response that so many resonators allow, before there is metal."""
