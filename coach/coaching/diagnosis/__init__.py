"""Where it breaks: what was observed of each move, what stands at fault, what to hear next."""

from coach.coaching.diagnosis.evidence import (
    MOST_OBSERVATIONS,
    Evidence,
    MoveAttempt,
    evidence_to_plain,
    restore_evidence,
    single_hand_of,
)
from coach.coaching.diagnosis.probe_selection import ProbeSelection, TroubleProbe
from coach.coaching.diagnosis.statistics import Sprt
from coach.coaching.diagnosis.troubles import (
    CLAIM_FAULT,
    Diagnosis,
    describe_trouble,
    diagnose,
    fitts_bits,
)

__all__ = [
    "CLAIM_FAULT",
    "MOST_OBSERVATIONS",
    "Diagnosis",
    "Evidence",
    "MoveAttempt",
    "ProbeSelection",
    "Sprt",
    "TroubleProbe",
    "describe_trouble",
    "diagnose",
    "evidence_to_plain",
    "fitts_bits",
    "restore_evidence",
    "single_hand_of",
]
