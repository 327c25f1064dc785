"""When the notes came: tempo, hesitations, hands, evenness, the click."""

from coach.judging.timing.evenness import Evenness
from coach.judging.timing.habits import Habits
from coach.judging.timing.hesitation import Pause
from coach.judging.timing.note_values import NoteValue
from coach.judging.timing.onsets import Moment
from coach.judging.timing.timing import Click, Timing, measure

__all__ = ["Click", "Evenness", "Habits", "Moment", "NoteValue", "Pause", "Timing", "measure"]
