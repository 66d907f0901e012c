"""Files of the page: in its folder and nowhere else, and nothing that others wrote is lost."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from surge.errors import CaseError
from surge.page.folder import ChangedError, Folder, FolderError
from surge.page.state import Address, State


def test_cases_are_listed_and_other_files_are_not(folder: Folder) -> None:
    (folder.path / "rules.toml").write_text("schema = 1\n[[rule]]\n", encoding="utf-8")
    (folder.path / "note.txt").write_text("[liquid]", encoding="utf-8")
    (folder.path / ".hidden.toml").write_text("[liquid]", encoding="utf-8")
    below = folder.path / "ships" / "one"
    below.mkdir(parents=True)
    (below / "a.toml").write_text("[liquid]", encoding="utf-8")
    (folder.path / "out.toml").symlink_to(folder.path.parent / "secret.toml")
    assert folder.cases() == ["berth.toml", "ships/one/a.toml"]


@pytest.mark.parametrize(
    "name",
    [
        *("", "/etc/passwd.toml", "../secret.toml", "x/../../secret.toml", "./../secret.toml", "berth.txt"),
        *(
            "a\\b.toml",
            "a\0.toml",
            "a\n.toml",
            "nul.toml",
            "nowhere/a.toml",
            "out.toml",
            "loop.toml",
            "dir.toml",
        ),
        *("linked/secret.toml", "x" * 300 + ".toml", "pipe.toml"),
    ],
)
def test_names_that_lead_elsewhere_are_refused(folder: Folder, name: str) -> None:
    (folder.path / "out.toml").symlink_to(folder.path.parent / "secret.toml")
    (folder.path / "loop.toml").symlink_to(folder.path / "loop.toml")
    (folder.path / "linked").symlink_to(folder.path.parent)
    (folder.path / "dir.toml").mkdir()
    os.mkfifo(folder.path / "pipe.toml")
    secret = (folder.path.parent / "secret.toml").read_bytes()
    with pytest.raises((FolderError, CaseError)):
        folder.read(name)
    with pytest.raises((FolderError, CaseError)):
        folder.save(name, "x", over="")
    assert folder.hash_of(name) == ""
    assert (folder.path.parent / "secret.toml").read_bytes() == secret


def test_a_case_is_saved_over_what_was_opened(folder: Folder) -> None:
    text, opened = folder.read("berth.toml")
    saved = folder.save("berth.toml", text + "# mine\n", over=opened)
    assert folder.read("berth.toml") == (text + "# mine\n", saved)
    assert folder.hash_of("berth.toml") == saved
    assert folder.save("berth.toml", text + "# mine\n", over="") == saved  # it stands there already
    assert folder.save("new one.toml", "x = 1\r\n", over="")
    assert (folder.path / "new one.toml").read_bytes() == b"x = 1\r\n"


def test_a_file_changed_outside_is_not_written_over(folder: Folder) -> None:
    text, opened = folder.read("berth.toml")
    (folder.path / "berth.toml").write_text("# theirs\n", encoding="utf-8")
    with pytest.raises(ChangedError) as found:
        folder.save("berth.toml", text, over=opened)
    assert found.value.text == "# theirs\n"
    assert (folder.path / "berth.toml").read_text(encoding="utf-8") == "# theirs\n"
    assert folder.save("berth.toml", text, over=found.value.sha256)
    with pytest.raises(ChangedError):
        folder.save("berth.toml", "another tab", over="")  # as for a new file, where there is one


def test_a_case_of_too_many_bytes_is_refused(folder: Folder) -> None:
    with pytest.raises(FolderError, match="1 MB"):
        folder.save("big.toml", "#" * 1_000_001, over="")
    assert not (folder.path / "big.toml").exists()


def test_what_cannot_be_written_is_told(folder: Folder) -> None:
    def full(path: Path, text: str) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(FolderError, match="No space left"):
        Folder(folder.path, full).save("new.toml", "x", over="")


# --- what is kept between starts ------------------------------------------------------------------------


def test_the_address_is_kept_for_the_user_alone(state: State) -> None:
    own = Address(port=4, token="t", folder="f")
    assert state.address() is None
    state.tell(own)
    assert state.address() == own
    files = list(state.root.iterdir())
    assert [stat.S_IMODE(file.stat().st_mode) for file in files] == [0o600]
    assert stat.S_IMODE(state.root.stat().st_mode) == 0o700
    state.forget(Address(port=5, token="t", folder="f"))
    assert state.address() == own  # that of another server stays
    state.forget(own)
    assert state.address() is None
    state.forget(own)


def test_each_tab_keeps_what_it_has_not_saved(state: State) -> None:
    state.keep("a.toml", "one", "text of one", "hash")
    state.keep("a.toml", "two", "text of two", "hash")
    state.keep("b.toml", "one", "text of b", "")
    for k, path in enumerate(sorted(state.root.glob("*"), key=lambda p: "of two" in p.read_text())):
        os.utime(path, (k, k))  # what two wrote is the last
    found = state.drafts("a.toml")
    assert [(d.tab, d.text, d.over) for d in found] == [
        ("two", "text of two", "hash"),
        ("one", "text of one", "hash"),
    ]
    assert state.unsaved() == ["a.toml", "b.toml"]
    other = State(state.root, state.folder / "other")
    assert other.drafts("a.toml") == []
    assert other.unsaved() == []
    state.drop("a.toml", "two")
    assert [d.tab for d in state.drafts("a.toml")] == ["one"]
    state.drop("a.toml", "one")
    state.drop("a.toml", "one")
    assert state.drafts("a.toml") == []
    assert len(state.drafts("b.toml")) == 1
    assert all(stat.S_IMODE(f.stat().st_mode) == 0o600 for f in state.root.iterdir())


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'{"port": "x"}', b"\xff", b'{"text": 1}'])
def test_a_broken_file_of_ours_is_as_none(state: State, content: bytes) -> None:
    state.keep("a.toml", "tab", "x", "")
    state.tell(Address(port=4, token="t", folder="f"))
    for file in state.root.iterdir():
        file.write_bytes(content)
    assert state.address() is None
    assert state.drafts("a.toml") == []
    assert state.unsaved() == []
