"""Figures large enough to be read across a workshop: our own, seven rows of four squares.

A square is two characters wide, as characters are about twice as high as wide. At 80 columns a figure is then
nearly a third of a window's height, some 8 cm on a 60 cm screen: common practice asks for a two-hundredth of the
distance, 1.5 cm at 3 m.
"""

SHAPES = {
    "0": ("####", "#..#", "#..#", "#..#", "#..#", "#..#", "####"),
    "1": ("..#.", ".##.", "..#.", "..#.", "..#.", "..#.", ".###"),
    "2": ("####", "...#", "...#", "####", "#...", "#...", "####"),
    "3": ("####", "...#", "...#", ".###", "...#", "...#", "####"),
    "4": ("#..#", "#..#", "#..#", "####", "...#", "...#", "...#"),
    "5": ("####", "#...", "#...", "####", "...#", "...#", "####"),
    "6": ("####", "#...", "#...", "####", "#..#", "#..#", "####"),
    "7": ("####", "...#", "...#", "..#.", ".#..", ".#..", ".#.."),
    "8": ("####", "#..#", "#..#", "####", "#..#", "#..#", "####"),
    "9": ("####", "#..#", "#..#", "####", "...#", "...#", "####"),
    "-": ("...", "...", "...", "###", "...", "...", "..."),
    "?": ("####", "...#", "...#", ".###", ".#..", "....", ".#.."),
    ".": (".", ".", ".", ".", ".", ".", "#"),
    " ": ("..", "..", "..", "..", "..", "..", ".."),
}
ROWS = 7


def large(text: str, *, ink: str, scale: int = 1) -> list[str]:
    """The text in large figures, one string a row; ``scale`` makes every square so many times larger.

    >>> large("-.", ink="#")[3:]
    ['######   ', '         ', '         ', '       ##']
    """
    rows = []
    for row in range(ROWS):
        shapes = [SHAPES[letter][row] for letter in text]
        line = " ".join("".join((ink if one == "#" else " ") * (2 * scale) for one in shape) for shape in shapes)
        rows += [line] * scale
    return rows


def width_of(text: str, *, scale: int = 1) -> int:
    """Columns that the text takes."""
    return len(large(text, ink="#", scale=scale)[0])
