"""The commands about signatures and packages, as people call them."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monochord.cli.main import main
from monochord.store.making import make_record
from tests.record.signing_world import PASSPHRASE, TWO, context, keep_run


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MONOCHORD_PASSPHRASE", PASSPHRASE)
    monkeypatch.setenv("MONOCHORD_RECORD", str(tmp_path / "ring.sqlite"))
    record = make_record("ring.sqlite")
    keep_run(record, "a" * 32, context(), signing={**TWO, "signatures": 1})
    record.engine.dispose()
    return tmp_path


def call(*words: str) -> Result:
    return CliRunner().invoke(main, ["record", *words])


def test_from_a_person_to_a_package_in_another_record(here: Path) -> None:
    assert call("add", "person", "name=Ada", "roles=engineer").exit_code == 0
    made = call("key", "new", "--person", "Ada", "--into", "ada.pem")
    assert "its private part stands in ada.pem, keep it to yourself" in made.output
    assert PASSPHRASE not in made.output
    done = call("sign", "girder/G07", "--key", "ada.pem", "--role", "engineer")
    assert "signed aaaaaaaaaaaa, 5-restored as engineer; signed 1 of 1 by Ada as engineer" in done.output
    assert "verdicts: 2 conforms, 0 does not conform, 0 cannot be decided" in done.output
    assert "the result lacks slopes: one mode only for Q1" in done.output
    assert "Ada as engineer on 20" in call("signatures", "--about", "girder/G07").output
    assert "1 signatures of the girder G07" in call("export", "girder/G07", "--into", "package").output
    checked = call("check-package", "package")
    assert checked.exit_code == 0
    assert "package is whole" in checked.output
    assert call("make", "--at", "other.sqlite").exit_code == 0
    assert "4 new entries" in call("import", "package", "--at", "other.sqlite").output
    assert "signed 1 of 1" in call("signatures", "--about", "girder/G07", "--at", "other.sqlite").output


def test_ends_say_what_happened(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    call("add", "person", "name=Ada", "roles=engineer")
    call("key", "new", "--person", "Ada", "--into", "ada.pem")
    call("key", "new", "--person", "Bo", "--into", "bo.pem")
    assert call("sign", "girder/G07", "--key", "bo.pem", "--role", "engineer").exit_code == 3
    assert call("sign", "girder/G99", "--key", "ada.pem", "--role", "engineer").exit_code == 3
    call("sign", "girder/G07", "--key", "ada.pem", "--role", "engineer")
    call("export", "girder/G07", "--into", "package")
    listed = call("key", "list").output.splitlines()
    assert [line.split()[1] for line in listed] == ["Ada", "Bo"]
    assert "withdrawn" in call("key", "withdraw", listed[1].split()[0], "--words", "lost").output
    assert call("key", "withdraw", "0" * 8, "--words", "lost").exit_code == 3
    (here / "package" / "data" / "package.json").write_text("{}")
    assert call("check-package", "package").exit_code == 3
    assert call("import", "package").exit_code == 3
    monkeypatch.delenv("MONOCHORD_PASSPHRASE")
    asked = call("sign", "girder/G07", "--key", "ada.pem", "--role", "engineer")
    assert asked.exit_code == 2
    assert "given nobody to ask for the passphrase" in asked.output


def test_a_package_without_the_key_that_was_given_ends_differently(here: Path) -> None:
    from monochord.store.keys import new_key

    call("add", "person", "name=Ada", "roles=engineer")
    call("key", "new", "--person", "Ada", "--into", "ada.pem")
    call("sign", "girder/G07", "--key", "ada.pem", "--role", "engineer")
    call("export", "girder/G07", "--into", "package")
    (here / "other.public.pem").write_text(new_key(here / "other.pem", PASSPHRASE))
    checked = call("check-package", "package", "--key", "other.public.pem")
    assert checked.exit_code == 5
    assert "no signature was made with a key that you gave" in checked.output
    [folder] = (here / "package" / "data" / "signatures").iterdir()
    assert call("check-package", "package", "--key", str(folder / "key.pem")).exit_code == 0
    assert "key " in call("key", "add", "other.public.pem", "--person", "Cy").output
