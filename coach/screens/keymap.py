"""What the pianist can ask for at the computer, and with which keys: one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.coaching.model import Request
from coach.playing.command_keys import CommandKey, PianoCommand, lay_list_keys
from coach.score.pitch import MIDDLE_C, Spelling


@dataclass(frozen=True, slots=True)
class Command:
    """One thing to ask for."""

    action: str
    """The screen's action."""
    keys: str
    """Textual's names, with commas: at least one is no letter, for while letters are a piano."""
    shown: str
    """The keys as they are shown, letter first."""
    name: str
    help: str


def _request(request: Request, keys: str, shown: str, help: str) -> Command:
    return Command(f"request('{request.name}')", keys, shown, request.value, help)


COMMANDS = (
    _request(Request.SMALLER, "left", "←", "A smaller window"),
    _request(Request.LARGER, "right", "→", "A larger window"),
    _request(Request.SLOWER, "down", "↓", "A slower tempo"),
    _request(Request.FASTER, "up", "↑", "A faster tempo"),
    _request(Request.OTHER_HAND, "o,f5", "o", "The other hand, or one hand alone"),
    _request(Request.AGAIN, "a,f6", "a", "The same again"),
    _request(Request.NEXT, "n,f7", "n", "On to the next assignment"),
    _request(Request.NOT_THIS, "x,f8", "x", "Anything but this"),
    _request(Request.HARD, "b,ctrl+x", "b", "Another way of practising it"),
    _request(Request.STAY, "r,ctrl+a", "r", "The same until you ask for something else"),
    _request(Request.FINGERING, "f,ctrl+f", "f", "With a new fingering it counts anew"),
    Command("details", "d,f2", "d", "details", "What was heard, in full"),
    Command("why", "w,f3", "w", "why", "The reason and the evidence"),
    Command("plan", "t,f12", "t", "plan", "All tasks up to the goal, and which is now"),
    Command(
        "diary", "y,ctrl+y", "y", "diary", "Which bars hold, and how it came about, day by day"
    ),
    Command("pause", "p,f9,space", "p", "pause", "Rest, and go on later"),
    Command("hear", "h,f11", "h", "hear", "The window as it is written, or silence"),
    Command("hear_mine(1.0)", "j,ctrl+r", "j", "hear mine", "Your last one, then as written"),
    Command("hear_mine(2.0)", "J,ctrl+l", "J", "slowly", "The same at half the speed"),
    Command("hear_as('loops')", "l,ctrl+o", "l", "loop", "Hear the window round and round"),
    Command("hear_as('hands')", "B,ctrl+b", "B", "both hands", "Hear the other hand with it"),
    Command("hear_as('louder')", "greater_than_sign", ">", "louder", "What is heard, louder"),
    Command("hear_as('softer')", "less_than_sign", "<", "softer", "What is heard, softer"),
    Command("accompany", "g,ctrl+g", "g", "with me", "The other hand, played along with you"),
    Command("click", "c,ctrl+k", "c", "click", "How the click sounds, or whether it is heard"),
    Command("learn", "u,ctrl+u", "u", "your own key", "A pedal, button or key for a command"),
    Command("keyboard", "k,f4", "k", "letters as piano", "The computer keyboard as a piano"),
    Command("hands", "m,f10", "m", "move hands", "Give notes to the other hand"),
    Command("write", "i,ctrl+e", "i", "write", "A fingering, or a note on this passage"),
    Command("fingers", "e,ctrl+t", "e", "fingers", "Suggest fingers (3?) where none are printed"),
    Command("page(1)", "pagedown", "PgDn", "next page", "The next page of this window"),
    Command("page(-1)", "pageup", "PgUp", "page before", "The page before"),
    Command("music_size(1)", "v,ctrl+pageup", "v", "larger staff", "Larger notes, on more pages"),
    Command("music_size(-1)", "V,ctrl+pagedown", "V", "smaller staff", "Smaller notes"),
    Command("help", "question_mark,f1", "?", "keys", "All keys and marks"),
    Command("home", "escape", "Esc", "home", "Another piece; this one is kept"),
)

_SHOWN_AS = {
    "pagedown": "PgDn",
    "pageup": "PgUp",
    "escape": "Esc",
    "left": "←",
    "right": "→",
    "up": "↑",
    "down": "↓",
    "space": "Space",
    "greater_than_sign": ">",
    "less_than_sign": "<",
}


def key_beside_letters(command: Command) -> str:
    """The key that asks for it also while the letters are a piano, as it is shown."""
    key = next(key for key in command.keys.split(",") if len(key) > 1 and key != "question_mark")
    if key.startswith("ctrl+"):
        plain = key.removeprefix("ctrl+")
        return f"Ctrl+{_SHOWN_AS.get(plain, plain.upper())}"
    return _SHOWN_AS.get(key, key.upper())


def how_to_ask(
    name: str, command: PianoCommand, piano: Sequence[CommandKey], *, letters: bool
) -> str:
    """In a sentence: the piano's key that asks for it, where there is one, and the computer's."""
    row = next(one for one in COMMANDS if one.name == name)
    key = key_beside_letters(row) if letters else row.shown
    at_piano = next((one for one in piano if one.command is command), None)
    if at_piano is None:
        return f"Press {key}."
    return f"Strike {place_words(at_piano, piano)}, or press {key}."


def place_words(key: CommandKey, keys: Sequence[CommandKey]) -> str:
    """Which key it is, to be found without looking: ``your lowest A``, ``second lowest A``."""
    end = "lowest" if key.pitch < MIDDLE_C else "highest"
    same_end = [one for one in keys if (one.pitch < MIDDLE_C) == (key.pitch < MIDDLE_C)]
    again = sum(one.name == key.name for one in same_end[: same_end.index(key)])
    before = ("your " if key == same_end[0] else "", "second ", "third ", "fourth ")[min(again, 3)]
    return f"{before}{end} {key.name}"


def list_keys_words(piano_keys: int) -> tuple[str, ...]:
    """The piano's keys that move in a list: ``your lowest A: choose``, ``B: down``."""
    laid = lay_list_keys(piano_keys)
    names = (Spelling.of(pitch).words for pitch, _ in laid)
    words = [f"{name}: {step}" for name, (_, step) in zip(names, laid, strict=True)]
    return (f"your lowest {words[0]}", *words[1:])


DEMO_COMMANDS = (
    Command("hurry(-1)", "left_square_bracket,minus", "[", "slower", "Slow the demo down"),
    Command("hurry(1)", "right_square_bracket,plus", "]", "hurry", "Hurry the demo"),
    Command("stop", "s", "s", "stop", "Stop the player, or let them go on"),
)


def help_line(
    width: int,
    *,
    demo: bool = False,
    letters: bool = False,
    piano: Sequence[CommandKey] = (),
) -> str:
    """The keys in one row: as many as fit, ``? keys`` always. Where the piano has keys that ask for
    something those come first: no hand is free for the computer."""
    if letters:
        last = "F1 keys"
        parts = ["Z row from C3, Q row from C4", "F4 letters off", "arrows size and tempo"]
        parts.append("Esc home")
        return fit(parts, width - len(last) - 2) + "  " + last
    last = "? keys"
    parts = ["←→ smaller larger", "↓↑ slower faster"]
    if demo:
        parts = ["[ slower", "] hurry", "s stop"]
    shown = {"other hand", "next", "not this", "details", "why", "plan", "hear", "home"}
    if piano and not demo:
        parts = piano_parts(piano)
    parts += [f"{one.shown} {one.name}" for one in COMMANDS if one.name in shown]
    return fit(parts, width - len(last) - 2) + "  " + last


def piano_parts(keys: Sequence[CommandKey]) -> list[str]:
    """The piano's own keys, from the lowest up: ``your lowest A: hear``, ``B: mine``; those at the
    high end from the highest down."""
    parts: list[str] = []
    for before, one in zip([None, *keys], keys, strict=False):
        end = ""
        if before is None:
            end = "your lowest " if one.pitch < MIDDLE_C else "your highest "
        elif before.pitch < MIDDLE_C <= one.pitch:
            end = "highest "
        parts.append(f"{end}{one.name}: {one.command.value}")
    return parts


def fit(parts: list[str], width: int) -> str:
    """As many parts as fit into a width, two spaces between them."""
    out = ""
    for part in parts:
        longer = f"{out}  {part}" if out else part
        if len(longer) > width:
            break
        out = longer
    return out
