"""Cases for the ear: windows of piano music, played with known mistakes.

``python -m scripts.earcases OUT --seed 1 --count 400`` writes one JSON file a case. Nothing is
stored: scores come from what installed packages ship (music21's corpus, one recorded performance
in parangonar), the playing from a seeded model of expressive timing.
"""
