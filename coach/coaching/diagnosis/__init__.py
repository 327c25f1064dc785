"""Where it breaks: evidence, the model of troubles, what to hear next."""

from coach.coaching.diagnosis.evidence import (
    MOST_OBSERVATIONS,
    Evidence,
    Move,
    carried_on,
    hand_of,
    kept,
)
from coach.coaching.diagnosis.probe_selection import Choice, Probe
from coach.coaching.diagnosis.statistics import Sprt
from coach.coaching.diagnosis.troubles import CLAIM_FAULT, Diagnosis, diagnose, fitts_bits, trouble

__all__ = [
    "CLAIM_FAULT",
    "MOST_OBSERVATIONS",
    "Choice",
    "Diagnosis",
    "Evidence",
    "Move",
    "Probe",
    "Sprt",
    "carried_on",
    "diagnose",
    "fitts_bits",
    "hand_of",
    "kept",
    "trouble",
]
