"""Good content damaged: stretches of bytes cut, put in or doubled, values of a document replaced."""

import copy
import os

from hypothesis import settings
from hypothesis import strategies as st

__all__ = ["altered_documents", "damaged", "many"]


def many(examples: int) -> settings:
    """So many damaged files, a hundred times as many at night; the whole of them is some 1,000, or 100,000."""
    times = int(os.environ.get("FUZZ_TIMES", "1"))
    return settings(max_examples=examples * times // (4 if os.environ.get("SECOND_RUN") else 1))


# What readers of CSV, XML, JSON and TOML each trip over.
TOKENS = st.sampled_from(
    [
        *(b"", b"\0", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\r", b"\n", b"\r\n", b"\t", b" "),
        *(b",", b";", b'"', b'""', b"'", b"=", b"<", b">", b"&", b"&amp;", b"&#0;", b"&#x110000;", b"<!--", b"]]>"),
        *(b"{", b"}", b"[", b"]", b":", b"null", b"true", b"NaN", b"Infinity", b"-Infinity", b"\\u0000", b"\\ud800"),
        *(b"-1", b"0", b"1e999", b"1e-999", b"9" * 400, b"-0.0", b"1,5", b"1.5.2", b"0x1F", b"1_000", b"\xc2\xb2"),
        *(b"on", b"off", b"3+4", b"+", b"single", b"pair", b"bridge", b"A" * 2_000),
    ]
)
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.sampled_from((-1, 0, 1, 10**30, -0.5, 0.0, 1e308, "", "x", "3", "1/0", "1/3", "a\nb", "\0", "=1")),
    st.just([]),
    st.just({}),
    st.just([[]]),
    st.just(["a", 1]),
    st.text(max_size=8),
)


@st.composite
def damaged(draw, good: bytes, most: int = 4) -> bytes:
    """The bytes with one to a few edits.

    Parameters
    ----------
    good : bytes
        What is damaged.
    most : int
        Edits at the most.
    """
    content = good
    for _ in range(draw(st.integers(1, most))):
        start = draw(st.integers(0, len(content)))
        end = min(len(content), start + draw(st.sampled_from((0, 0, 1, 3, 20, 400))))
        put = draw(st.one_of(TOKENS, st.binary(max_size=20), st.just(content[start : start + 60] * 2)))
        content = content[:start] + put + content[end:]
    return content


@st.composite
def altered_documents(draw, good, most: int = 3):
    """A document with one to a few values replaced, keys left out, entries doubled or moved.

    Parameters
    ----------
    good : dict
        As `json.loads` gives it.
    most : int
        Edits at the most.
    """
    document = copy.deepcopy(good)
    for _ in range(draw(st.integers(1, most))):
        holder, key = _spot(draw, document)
        if holder is not None:
            _alter(draw, holder, key)
    return document


def _spot(draw, node):
    """A place in the document, half of the time a single value."""
    holder, key, is_value = None, None, draw(st.booleans())
    while isinstance(node, (dict, list)) and node:
        if holder is not None and not is_value and draw(st.integers(0, 3)) == 0:
            break
        key = draw(st.sampled_from(sorted(node))) if isinstance(node, dict) else draw(st.integers(0, len(node) - 1))
        holder, node = node, node[key]
    return holder, key


def _alter(draw, holder, key) -> None:
    how = draw(st.sampled_from(("replace", "replace", "replace", "remove", "double", "swap")))
    if how == "remove":
        del holder[key]
    elif how == "double" and isinstance(holder, list):
        holder.append(copy.deepcopy(holder[key]))
    elif how == "swap":
        other = draw(st.sampled_from(sorted(holder))) if isinstance(holder, dict) else 0
        holder[key], holder[other] = holder[other], holder[key]
    else:
        holder[key] = copy.deepcopy(draw(VALUES))
