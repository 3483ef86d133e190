"""The files behind the panel: saving a vehicle back, its draft, its documents, and the line of buttons for them."""

import threading
import time
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from pydantic import BaseModel, NonNegativeInt, ValidationError

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.paperwork import write_documents
from pdm_alloc.files.atomic import WriteError
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.outline import Draft
from pdm_alloc.files.plain import Plain, catalogue_plain, vehicle_plain
from pdm_alloc.files.save_back import ChangedMeanwhile, Edit, in_file_order, in_order, save_together
from pdm_alloc.files.sources import digest
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.panel.answers import Answer
from pdm_alloc.panel.markup import Html, plural, tag
from pdm_alloc.result.allocation import Allocation

__all__ = ["FilesBar", "Home"]

_DRAFT_S = 0.4


class Home:
    """Where a vehicle came from, and its catalogue where that can be saved too.

    Parameters
    ----------
    path : str or Path
        Folder or workbook of the vehicle.
    catalogue : str or Path, optional
        Folder or workbook of the catalogue.

    Attributes
    ----------
    vehicle : Vehicle
        As it stands on disk.
    tables : dict of str to list of dict
        The same as texts, rows in the order of the files.
    catalogue : Catalogue or None
        As it stands on disk; None where it came from no file.
    """

    def __init__(self, path: str | Path, catalogue: str | Path | None = None):
        self.path = Path(path).resolve()
        self._shelf = None if catalogue is None else Path(catalogue).resolve()
        self._drafted = Draft(self.path)
        self._timer: threading.Timer | None = None
        self._turn, self._disk = threading.Lock(), threading.Lock()  # who edits never waits for the disk
        self.read()

    @property
    def label(self) -> str:
        """Name of the folder or workbook, with that of the folder it is in."""
        return f"{self.path.parent.name}/{self.path.name}"

    def read(self) -> None:
        """Read the files again; InputError where they cannot be used."""
        self._digest = digest(self.path)
        self.vehicle: Vehicle = read_vehicle(self.path)
        self.tables: Plain = in_file_order(self.path, vehicle_plain(self.vehicle))
        self.catalogue: Catalogue | None = None
        self._modules: Plain = {}
        if self._shelf is not None:
            self._shelf_digest = digest(self._shelf)
            self.catalogue = read_catalogue(self._shelf)
            self._modules = in_file_order(self._shelf, catalogue_plain(self.catalogue))

    @property
    def all_tables(self) -> Plain:
        """Tables of the vehicle and of the catalogue, where that can be saved."""
        return {**self.tables, **self._modules}

    def save(self, vehicle: Vehicle, catalogue: Catalogue, orders: Plain, anyway: bool = False) -> list[str]:
        """Save an edited vehicle, and its catalogue; names of the tables written.

        Parameters
        ----------
        vehicle, catalogue : Vehicle and Catalogue
            As they are to be.
        orders : dict of str to list of dict
            Rows of each table in the order shown.
        anyway : bool
            Also where the files were changed by somebody else meanwhile: what was edited here is put into them.

        Raises
        ------
        ChangedMeanwhile, WriteError
            Nothing is written, of the vehicle or of the catalogue.
        """
        after = in_order(in_file_order(self.path, vehicle_plain(vehicle)), orders)
        edits = [Edit(self.path, self.tables, after, digest(self.path) if anyway else self._digest)]
        if self._shelf is not None and self.catalogue != catalogue:
            modules = in_order(in_file_order(self._shelf, catalogue_plain(catalogue)), orders)
            expected = digest(self._shelf) if anyway else self._shelf_digest
            edits.append(Edit(self._shelf, self._modules, modules, expected))
        changed = save_together(edits)
        self.drop()
        self.read()
        return changed

    def export(self, allocation: Allocation) -> list[Path]:
        """Write all documents of an allocation; the files."""
        folder = self.path / "documents" if self.path.is_dir() else self.path.with_name(f"{self.path.stem}_documents")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is left out is said by name
            return write_documents(allocation, folder)

    def draft(self) -> dict[str, Any] | None:
        """The draft of an earlier panel, ``is_old`` where the files were changed since; None without a usable one."""
        with suppress(ValidationError):
            draft = _Shape.model_validate(self._drafted.read())
            return {**draft.model_dump(), "is_old": draft.digest != self._digest, "others": self._drafted.others}
        return None

    def keep(self, draft: Mapping[str, object]) -> None:
        """Keep a draft beside the files, soon; drafts close together are one, one with nothing in it is none."""
        if not any(draft.values()):
            self.drop()
            return
        whole = {**draft, "digest": self._digest, "time": time.strftime("%H:%M")}
        with self._turn:
            if self._timer is not None:
                self._timer.cancel()
            self._timer = threading.Timer(_DRAFT_S, self._write, (whole,))
            self._timer.daemon = True
            self._timer.start()

    def drop(self) -> None:
        """Drop the draft."""
        with self._turn:
            if self._timer is not None:
                self._timer.cancel()
            self._timer = None
        with self._disk:
            self._drafted.delete()

    def _write(self, draft: Mapping[str, object]) -> None:
        with self._disk:
            if self._timer is not threading.current_thread():
                return  # overtaken while it waited
            try:
                self._drafted.write(draft)
            except (WriteError, InputError):
                return  # a folder that cannot be written: saving says so, a draft need not


class _Shape(BaseModel):
    """A draft as it is written: rows of tables, refused texts by row and column, controls, when and beside what."""

    tables: dict[str, list[dict[str, str]]]
    drafts: dict[str, list[tuple[NonNegativeInt, str, str]]]
    wish: dict[str, str] = {}
    time: str = "before"
    digest: str = ""


class FilesBar:
    """Name of the vehicle and of its file, with what can be done to the file.

    Parameters
    ----------
    home : Home or None
        None: the vehicle comes from no file, so there is a name alone.
    name : str
        Of the vehicle.
    save, reopen : callable
        Called when asked for; ``save`` with True to save over what somebody else changed.
    answer : callable
        Gives the answer on the tables as they stand; None while it is awaited.
    """

    def __init__(
        self,
        home: Home | None,
        name: str,
        save: Callable[[bool], None],
        reopen: Callable[[], None],
        answer: Callable[[], Answer | None],
    ):
        self._home, self._name, self._answer = home, name, answer
        self._title, self._notice = widgets.HTML(), widgets.HTML()
        self._anyway = _button("Save anyway", "put what you changed into the file as it now is", lambda: save(True))
        buttons = [
            _button("Save", "back into the file it came from (Ctrl+S in the table)", lambda: save(False)),
            self._anyway,
            _button("Open again", "read the file again; what is not saved is dropped", reopen),
            _button("Export documents", "pin map, binder and workbook", self._export),
        ]
        self.box = widgets.HBox([self._title, *(buttons if home else []), self._notice])
        self.box.add_class("pdm-files")
        self.show(saved=True)

    def show(self, saved: bool) -> None:
        """Show whether all is saved."""
        place = self._home.label if self._home else "no file"
        mark = "" if saved or self._home is None else "not saved"
        parts = [tag("strong", self._name), " ", tag("span", place, "pdm-soft"), " ", tag("em", mark, "pdm-unsaved")]
        self._title.value = Html(tag("div", parts, "pdm-title"))

    def say(self, words: str, is_fault: bool = False, offer: bool = False) -> None:
        """Say what came of it; with `offer`, saving all the same is offered."""
        self._anyway.layout.display = "" if offer else "none"
        sign = "\u26a0 " if is_fault else ""
        css = "pdm-said pdm-refusal" if is_fault else "pdm-said"
        self._notice.value = tag("div", f"{sign}{words}", css, role="status", aria_live="polite")

    @contextmanager
    def refusing(self) -> Iterator[None]:
        """Say why files could not be read or written."""
        try:
            yield
        except (InputError, OSError) as fault:
            self.say(str(fault), is_fault=True, offer=isinstance(fault, ChangedMeanwhile))

    def _export(self) -> None:
        answer = self._answer()
        allocation = answer.papers if answer else None
        if allocation is None or self._home is None:
            self.say("There is no allocation to export: the verdict is awaited, or it is not enough.", is_fault=True)
            return
        with self.refusing():
            self.say("Writing the documents ...")
            files = self._home.export(allocation)
            self.say(_written(files), is_fault=not any(file.suffix == ".pdf" for file in files))


_PAPERS = {"pin_map.csv": "pin map", "*.pdf": "binder", "*.xlsx": "workbook"}
_OTHERS = ("labels.pdf", "*_tables.xlsx")


def _written(files: list[Path]) -> str:
    """Where the documents people ask for are, and what is missing of them."""
    folder = min((file.parent for file in files), key=lambda parent: len(parent.parts))
    here = [file for file in files if file.parent == folder and not any(file.match(other) for other in _OTHERS)]
    papers = {word: next((file.name for file in here if file.match(p)), "") for p, word in _PAPERS.items()}
    there = ", ".join(f"{word} {name}" for word, name in papers.items() if name)
    missing = " and ".join(word for word, name in papers.items() if not name)
    lacking = f" Not written: {missing} (pip install 'pdm_alloc[documents]')." if missing else ""
    return f"Written into {folder.parent.name}/{folder.name}: {there}; {plural(len(files), 'file')} in all.{lacking}"


def _button(words: str, tooltip: str, act: Callable[[], None]) -> widgets.Button:
    button = widgets.Button(description=words, tooltip=tooltip)
    button.layout.width = "auto"
    button.on_click(lambda _: act())
    if words == "Save anyway":
        button.layout.display = "none"
    return button
