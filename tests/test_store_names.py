"""Names of files as the store keeps them. The names Windows reserves: Microsoft, Naming Files, Paths, and
Namespaces; the rest: common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from vibecore.safe_names import clean_name, free_name, named_after
from vibecore.store import NewFile, Store

CASE = "[vehicle]\ncylinders = 4\n"


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


def test_files_of_one_name_get_numbers_and_no_name_leads_outside(store):
    job = store.new(
        "Van", CASE, files=[NewFile("../../etc/idle.csv", b"1"), NewFile("C:\\x\\IDLE.csv", b"2")]
    )
    assert [f.name for f in job.files] == ["idle.csv", "IDLE (2).csv"]
    assert store.read_file(job.head.id, "IDLE (2).csv") == b"2"


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("/a/b/neutral idle.csv", "neutral idle.csv"),
        ("..", "file"),
        ("", "file"),
        ("con.csv", "_con.csv"),
        ("a\x00b<c>.csv", "a_b_c_.csv"),
        ("  .hidden. ", "hidden"),
    ],
)
def test_clean_name(given, kept):
    assert clean_name(given) == kept


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Silver hatch, A/C fitted", "Silver hatch, A-C fitted.html"),
        ("Van \\ 2", "Van - 2.html"),
        ("", "html"),
        ("///", "---.html"),
    ],
)
def test_a_title_is_a_file_name_as_a_whole(title, name):
    assert named_after(title, ".html") == name


def test_long_names_keep_their_ending():
    assert clean_name("x" * 500 + ".csv").endswith(".csv")
    assert len(clean_name("x" * 500 + ".csv")) == 120
    assert free_name("a.csv", ["A.CSV", "a (2).csv"]) == "a (3).csv"


def test_a_long_name_made_free_is_kept_as_it_is(store):
    """The case lists the free name, so the store must keep the file under that very name."""
    long = "b" * 114 + ".csv"
    names = [clean_name(long)]
    names.append(free_name(clean_name(long), names))
    assert names[1].endswith("b (2).csv")
    job = store.new("Van", CASE, files=[NewFile(name, name.encode()) for name in names])
    assert [f.name for f in job.files] == names
    assert store.read_file(job.head.id, names[1]) == names[1].encode()


@given(
    st.text(max_size=300)
    | st.from_regex(r"(con|a|[ .]){0,9}[ab .]{0,130}[\u0300 .b]{0,9}\.[a .]{0,40}", fullmatch=True)
)
@example("con" + " " * 117 + "x")
@example("a" * 119 + " bcd")
@example("a" * 100 + "." + " " * 30 + "b")
def test_a_clean_name_is_changed_no_more_not_even_once_made_free(name):
    clean = clean_name(name)
    free = free_name(clean, [clean])
    assert clean_name(clean) == clean
    assert clean_name(free) == free
    assert max(len(clean), len(free)) <= 120
