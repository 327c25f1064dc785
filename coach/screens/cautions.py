"""The usual cautions, for the foot of the home screen and the help."""

CAUTIONS = (
    "Pain means stop. Rest ten minutes in every hour; keep headphones low.",
    "Play no stretch that strains: roll it, or leave a note out.",
    "What your teacher or your doctor tells you comes first.",
)
