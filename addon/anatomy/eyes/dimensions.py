"""Published dimensions that several rooms need, each with its source."""

GLOBE_WIDTH = 24.2
"""Transverse diameter of an adult eye, mm; range 21-27 (250 adults, CT: Bekerman, Gottlieb, Vaiman 2014, doi
10.1155/2014/503645)."""
