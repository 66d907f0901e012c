"""Names as the whole world writes them, and as nobody should: for everything that prints names."""

from __future__ import annotations

import random
import unicodedata

SCRIPTS = (
    *("Landleitung ø", "Đường ống bờ", "Ìkọ̀wé ọ̀nà òkun ẹ̀", "Αγωγός ξηράς"),
    *("Береговой трубопровод", "ნაპირის ხაზი", "Ափի գիծ", "קו חוף", "קַו הַחוֹף"),
    *("خط الشاطئ", "خَطُّ الشَّاطِئِ", "می\u200cخواهم", "ساحلی لائن", "तट रेखा क्ष्म"),
    *("क्\u200dष", "উপকূল রেখা", "கரை வரி", "తీర రేఖ", "ತೀರ ರೇಖೆ", "തീര രേഖ", "වෙරළ රේඛාව"),
    *("કિનારા રેખા", "ท่อชายฝั่ง", "ທໍ່ຝັ່ງ", "ကမ်းရိုးတန်း", "បំពង់ច្រាំង", "የባህር ዳርቻ"),
    *("육상 배관", "岸上管線", "岸側ライン", "\U0001f1f3\U0001f1f4 line", "1\ufe0f\u20e3 line"),
    *("🚢 line", "e" + "\u0301" * 20, "\u0301abc", "𝒜𝓫", "𒀀𒀁", "ཀཁག", "ᠮᠣᠩᠭᠣᠯ", "ދިވެހި"),
    *("ⵜⴰⵎⴰⵣⵉⵖⵜ", "ߒߞߏ", "Ꭰ", "ﷺ", "ﬁ", "Å", "İi", "ß", "ǆ"),
)
TRICKS = (
    *("=1+2", "-2+3", "+cmd|' /C calc'!A0", "@SUM(A1)", "a;=1+2", "$x^2$", "#let x = 1"),
    *("*bold*", "`raw`", "\\frac", "<b>bold</b>", "</script><script>alert(1)</script>"),
    *("{{7*7}}", "{%x%}", "%s%n", "&amp;", "<text>", "]]>", "--", "..", "/", "C:", "CON"),
    *("nul", "a" * 50, "W" * 50, "i" * 50, "a b " * 12 + "c", "'", '"', "\\"),
)
_BLOCKS = (
    *(0x20, 0xA0, 0x300, 0x370, 0x400, 0x590, 0x600, 0x700, 0x780, 0x900, 0x980, 0xA00, 0xB00, 0xC00, 0xD00),
    *(0xE00, 0xF00, 0x1000, 0x1200, 0x1780, 0x1D00, 0x1E00, 0x2000, 0x20A0, 0x2190, 0x2600, 0x3000, 0x4E00),
    *(0xA000, 0xA900, 0xAC00, 0xFB00, 0xFE00, 0xFF00, 0x10000, 0x11000, 0x12000, 0x1D400, 0x1F1E0, 0x1F300),
    *(0x1F900, 0x20000, 0xE0100),
)


def name_of(dice: random.Random) -> str:
    """Return a name that a case file may hold: of the lists above, a mixture, or letters of one block."""
    kind = dice.randrange(6)
    if kind == 0:
        return dice.choice(SCRIPTS)
    if kind == 1:
        return dice.choice(TRICKS)
    if kind == 2:
        text = f"{dice.choice(SCRIPTS)} {dice.choice(TRICKS)} {dice.choice(SCRIPTS)}"
    else:
        block = dice.choice(_BLOCKS)
        letters = (chr(block + dice.randrange(0x100)) for _ in range(dice.randrange(1, 40)))
        text = "".join(c for c in letters if c.isprintable() and c not in '"\\')
        text += dice.choice(["", "x", "\u0301", "\ufe0f\u20e3", "\u0300\u0323", "1", "\U0001f1f3"])
    text = text[: dice.choice([10, 30, 50])].strip()
    return text or "x"


def names_of(seed: int, count: int) -> list[str]:
    """Return names that differ, whatever case and form of accents they are compared in."""
    dice, found = random.Random(seed), {}
    while len(found) < count:
        name = name_of(dice)
        found.setdefault(unicodedata.normalize("NFKC", name).casefold(), name)
    return list(found.values())
