"""TOML texts drawn at random, written together with their values and lines."""

import datetime
import json
import math
import re

from hypothesis import strategies as st

NAMES = st.one_of(
    st.from_regex(r"[A-Za-z0-9_-]{1,6}", fullmatch=True),
    st.sampled_from(["", " ", "a.b", "[x]", "#", "=", "ä", '"', "'", "\\", "tab\t", "line\n", "1"]),
)
SCALARS = st.one_of(
    st.integers(-(10**6), 10**6).map(lambda number: (str(number), number)),
    st.sampled_from(
        [
            ("true", True),
            ("0xfF_0", 0xFF0),
            ("-1_0.5e-3", -10.5e-3),
            ("inf", math.inf),
            ("1979-05-27 07:32:00", datetime.datetime(1979, 5, 27, 7, 32)),
            ("1979-05-27", datetime.date(1979, 5, 27)),
            ("07:32:00", datetime.time(7, 32)),
            ('""', ""),
            ("''", ""),
            ('"]}#, \\" = [["', ']}#, " = [['),
            ("'C:\\# \"['", 'C:\\# "['),
            ('"""\na = 1 # ""no""\n[x]\n"""""', 'a = 1 # ""no""\n[x]\n""'),
            ('"""a\\\n   \n  b\\""""""', 'ab"""'),
            ("'''[[x]]\n'' = \\\n''''", "[[x]]\n'' = \\\n'"),
            ('""""a"""', '"a'),
        ]
    ),
)
BLANKS = st.sampled_from(["", " ", "\t "])
GAPS = st.sampled_from(["", "", " ", "\n", ' # [x] "\n', "\n\n\t# a = '\n "])


class Written:
    """A TOML text in the making, with the values and lines that it must have."""

    def __init__(self, draw):
        self.draw = draw
        self.text = ""
        self.lines = {(): 1}

    def write(self, text):
        self.text += text

    def mark(self, path):
        """The path stands on the line that is being written, if it has none yet."""
        self.lines.setdefault(path, self.text.count("\n") + 1)

    def key(self, name):
        forms = [json.dumps(name), json.dumps(name, ensure_ascii=False)]
        if re.fullmatch("[A-Za-z0-9_-]+", name):
            forms += [name] * 3
        elif not re.search("['\n]", name):
            forms.append(f"'{name}'")
        self.write(self.draw(BLANKS) + self.draw(st.sampled_from(forms)) + self.draw(BLANKS))

    def value(self, path, depth):
        kind = self.draw(st.sampled_from(["scalar"] * 3 + ["list", "table"] * (depth < 3)))
        if kind == "scalar":
            text, value = self.draw(SCALARS)
            self.write(text)
            return value
        if kind == "table":
            self.write("{" + self.draw(BLANKS))
            value = self.pairs(path, depth + 1, ",")
            self.write("}")
            return value
        value = []
        self.write("[" + self.draw(GAPS))
        count = self.draw(st.integers(0, 3))
        for index in range(count):
            self.mark((*path, index))
            value.append(self.value((*path, index), depth + 1))
            last = index == count - 1 and self.draw(st.booleans())
            self.write(self.draw(GAPS) + ("" if last else "," + self.draw(GAPS)))
        self.write("]")
        return value

    def pairs(self, path, depth, between, most=3):
        """Pairs of new keys, some of them dotted, into a table."""
        table = {}
        names = self.draw(st.lists(NAMES, max_size=most, unique=True))
        pairs = []
        for name in names:
            inner = self.draw(st.lists(NAMES, max_size=2, unique=True))
            # Two dotted keys may share their first part.
            pairs += [(name, key) for key in inner] if len(inner) == 2 else [(name, *inner)]
        for index, keys in enumerate(pairs):
            here, at = table, path
            for place, key in enumerate(keys):
                if place:
                    self.write(".")
                    here = here.setdefault(at[-1], {})
                self.key(key)
                at = (*at, key)
                self.mark(at)
            self.write("=" + self.draw(BLANKS))
            here[at[-1]] = self.value(at, depth)
            if between == "\n":
                self.write(self.draw(BLANKS) + self.draw(st.sampled_from(["\n", " # [x]\n"])))
            elif index < len(pairs) - 1:
                self.write(between)
        return table

    def header(self, names, rows):
        self.write(self.draw(GAPS.filter(lambda gap: gap.endswith("\n") or not gap.strip())))
        self.write("[[" if rows else "[")
        for index, name in enumerate(names):
            self.write("." if index else "")
            self.key(name)
        self.write(("]]" if rows else "]") + self.draw(st.sampled_from(["\n", " # x\n"])))

    def section(self, table, path, names, depth):
        """A table or a list of tables under a new key, with what lies below it."""
        kind = self.draw(st.sampled_from(["table", "late", "rows"]))
        at = (*path, names[-1])
        if kind == "rows":
            rows = table[names[-1]] = []
            for index in range(self.draw(st.integers(1, 3))):
                line = self.begin(at, names, rows=True)
                self.mark((*at, index))
                self.lines[(*at, index)] = line
                row = self.pairs((*at, index), 1, "\n")
                rows.append(row)
                self.sections(row, (*at, index), names, depth)
            return
        inner = table[names[-1]] = {}
        if kind == "table":
            self.begin(at, names, rows=False)
            inner |= self.pairs(at, 1, "\n")
            self.sections(inner, at, names, depth)
            return
        # What lies below comes first, and the header of the table itself after it.
        self.sections(inner, at, names, depth)
        self.lines.pop(at, None)
        self.begin(at, names, rows=False)

    def begin(self, at, names, *, rows):
        """Writes a header; it is the first mention of parents that have no line yet."""
        before = self.text.count("\n")
        self.header(names, rows)
        line = self.text.rstrip().count("\n") + 1
        assert line > before
        for length in range(1, len(at) + 1):
            self.lines.setdefault(at[:length], line)
        return line

    def sections(self, table, path, names, depth):
        if depth == 3:
            return
        for name in self.draw(st.lists(NAMES, max_size=2, unique=True)):
            if name not in table:
                self.section(table, path, [*names, name], depth + 1)


@st.composite
def documents(draw):
    """A text, its values, and the line of every path."""
    written = Written(draw)
    written.write(draw(st.sampled_from(["", "\n", "# a remark\n\n"])))
    data = written.pairs((), 0, "\n")
    written.sections(data, (), [], 0)
    return written.text, data, written.lines
