"""Where things lie: beside the checkout, inside the package, or an error that names both."""

from __future__ import annotations

from pathlib import Path

import platformdirs
import pytest

from workbench import places


def test_a_checkout_has_them_beside_the_package() -> None:
    """The top-level folder is found in an editable install."""
    assert places.shipped("fixtures") == places.PACKAGE.parent / "fixtures"


def test_inside_the_package_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installed wheel uses its own, whatever lies beside it."""
    package = tmp_path / "workbench"
    (package / "styles").mkdir(parents=True)
    (tmp_path / "styles").mkdir()
    (tmp_path / "pyproject.toml").touch()
    monkeypatch.setattr(places, "PACKAGE", package)
    assert places.shipped("styles") == package / "styles"


def test_a_strangers_folder_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a pyproject.toml the folder beside the package is some other's: name both places."""
    (tmp_path / "workbench").mkdir()
    (tmp_path / "styles").mkdir()
    monkeypatch.setattr(places, "PACKAGE", tmp_path / "workbench")
    with pytest.raises(places.NotShippedError) as error:
        places.shipped("styles")
    assert str(tmp_path / "workbench" / "styles") in str(error.value)
    assert str(tmp_path / "styles") in str(error.value)


def test_the_book_lies_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """As platformdirs says, unless the variable names another; an empty one does not count."""
    own = Path(platformdirs.user_data_dir("quarterturn", appauthor=False)) / "shop.db"
    monkeypatch.delenv("QUARTERTURN_BOOK", raising=False)
    assert places.book_path() == own
    monkeypatch.setenv("QUARTERTURN_BOOK", "")
    assert places.book_path() == own
    monkeypatch.setenv("QUARTERTURN_BOOK", "~/mine.db")
    assert places.book_path() == Path.home() / "mine.db"
