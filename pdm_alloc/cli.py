"""The command line. Exit 0: done; 1: not enough; 2: unusable input; 3: no answer in time; 70: internal error."""

import argparse
import atexit
import contextlib
import os
import sys
import time
from collections.abc import Sequence
from typing import NoReturn

from pdm_alloc import __version__

__all__ = ["main", "program"]

DONE, SHORT, UNUSABLE, NO_ANSWER = 0, 1, 2, 3

INTERNAL = 70  # as sysexits.h numbers an internal software error

INTERRUPTED, NO_READER = 130, 141  # as the shell itself numbers these two signals

_STRATEGY = "isolate: most circuits; spare: fewest channels (default: the vehicle's setting)"

_OBJECTIVE = "with --places: price, mass, or front: choices unbeaten in both price and mass"

_LIMIT = "time limit per module, in seconds, reading the tables included; documents take their time besides"

_CONTROL = "for a vehicle with signals; may be given several times (default: the cheapest that are enough)"

_STUB = "from the trunk of the bus to every node, or to one by its name, in m (default: the vehicle's setting)"

CAUTION = (
    "Design values only: check by measurement and by a qualified person; "
    "local codes, event rules and the makers' data come first."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; default: those it was started with.

    Returns
    -------
    int
        Exit code: 0 done, 1 not enough or enough only if, 2 unusable input, 3 no answer within the time limit, 70
        internal error; 130 interrupted, 141 nobody reads what is printed, 143 terminated.
    """
    words = [str(word) for word in (sys.argv[1:] if arguments is None else arguments)]
    try:
        return _run(words)
    except KeyboardInterrupt:
        return _ended("interrupted", INTERRUPTED)
    except BrokenPipeError:
        return _ended("", NO_READER)
    except OSError as error:  # those of files are lines by now: this is what is printed to
        return _ended(f"cannot print: {error.strerror}", UNUSABLE)
    except Exception as error:
        return _internal(error, "--debug" in words)


def program() -> NoReturn:
    """Run the command line and end the process.

    What a large vehicle leaves in memory takes seconds to take apart piece by piece, after the answer is printed and
    counted by whoever waits: it is left to the system.
    """
    code = main()
    if "pdm_alloc.panel" in sys.modules:  # what serves pages has threads of its own to end
        sys.exit(code)
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
    os._exit(code)


def _run(arguments: Sequence[str] | None) -> int:
    """Whatever is printed must be out before this returns: later nobody could say what went wrong."""
    _open_streams()
    started = time.monotonic()
    try:
        options = _parser().parse_args(arguments)
        options.started = started
        from pdm_alloc import commands

        return commands.run(options)
    finally:
        sys.stdout.flush()


def _open_streams() -> None:
    """Each stream there, so that no other file takes its number; and able to print any name in some way."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def _internal(error: Exception, debug: bool) -> int:
    """One line: a crash must not be taken for an answer, and a traceback is for who can use it."""
    if debug:
        import traceback

        traceback.print_exception(error)
    told = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    hint = "" if debug else "; run it again with --debug, and report what it prints together with the tables"
    with contextlib.suppress(OSError):
        print(f"pdm-alloc: Internal error: {told}{hint}", file=sys.stderr)
    return INTERNAL


def _ended(why: str, code: int) -> int:
    """One line; and nothing more to a stream that fails, as Python would try to once again at its end."""
    if code != INTERRUPTED:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    with contextlib.suppress(OSError):
        print(f"pdm-alloc: {why}" if why else "", file=sys.stderr, end="\n" if why else "")
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pdm-alloc",
        description="Which power distribution module is enough for a vehicle, and which load goes on which channel.",
        epilog=CAUTION,
    )
    _add_debug(parser, default=False)
    parser.add_argument("--version", action="version", version=f"pdm-alloc {__version__}")
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="COMMAND")
    _add_check(verbs)
    _add_size(verbs)
    _add_allocate(verbs)
    _add_compare(verbs)
    _add_panel(verbs)
    _add_new(verbs)
    return parser


def _verb(verbs, name: str, text: str) -> argparse.ArgumentParser:
    parser = verbs.add_parser(name, help=text, description=text, epilog=CAUTION)
    _add_debug(parser)
    return parser


def _add_debug(parser: argparse.ArgumentParser, default=argparse.SUPPRESS) -> None:
    text = "after an internal error, print where it happened"
    parser.add_argument("--debug", action="store_true", default=default, help=text)


def _folder(text: str) -> str:
    if not text.strip():
        raise argparse.ArgumentTypeError("the name of the folder is empty")
    return text


def _add_input(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("vehicle", metavar="VEHICLE", help="folder of CSV tables, or one XLSX workbook")
    parser.add_argument("--catalogue", metavar="DIR", help="tables of modules (default: 'catalogue' beside VEHICLE)")
    parser.add_argument("--json", action="store_true", help="machine-readable JSON")


def _add_solving(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--strategy", choices=("isolate", "spare"), help=_STRATEGY)
    parser.add_argument("--time-limit", type=_seconds, metavar="S", help=_LIMIT)


def _add_check(verbs) -> None:
    _add_input(_verb(verbs, "check", "Read the tables and report every fault in them."))


def _add_size(verbs) -> None:
    parser = _verb(verbs, "size", "Judge every module of the catalogue and name the smallest that is enough.")
    _add_input(parser)
    _add_solving(parser)
    parser.add_argument(
        "--why", action="store_true", help="for each module that is not enough, everything that is short"
    )
    parser.add_argument("--places", action="store_true", help="one module or two, and at which places")
    words = ("price", "mass", "front")
    parser.add_argument("--objective", choices=words, default="price", help=_OBJECTIVE)
    parser.add_argument("--jobs", type=_jobs, default=1, metavar="N", help="with --places: processes to solve in")


def _add_allocate(verbs) -> None:
    parser = _verb(verbs, "allocate", "Put the loads on the channels of a module and write the pin map.")
    _add_input(parser)
    _add_solving(parser)
    parser.add_argument("--module", required=True, action="append", metavar="NAME", help="may be given several times")
    parser.add_argument("--place", action="append", default=[], metavar="NAME", help="where it is mounted, one each")
    parser.add_argument("--control-unit", action="append", default=[], metavar="NAME", help=_CONTROL)
    parser.add_argument("--control-place", action="append", default=[], metavar="NAME", help="where each of them sits")
    parser.add_argument(
        "--bus-kbit", type=_kbit, metavar="N", help="bit rate of the bus (default: the vehicle's setting)"
    )
    parser.add_argument("--bus-stub", type=_stub, action="append", default=[], metavar="[NAME=]M", help=_STUB)
    parser.add_argument("--why", metavar="LOAD", help="print only what this load asks of a channel, and which give it")
    parser.add_argument(
        "--out", type=_folder, metavar="DIR", help="folder to write to (default: print the pin map only)"
    )


def _add_compare(verbs) -> None:
    parser = _verb(verbs, "compare", "List what to change at the vehicle to get from one saved allocation to another.")
    parser.add_argument("old", metavar="OLD", help="as it is wired: the folder of its documents, or allocation.json")
    parser.add_argument("new", metavar="NEW", help="as it is to be, the same way")
    parser.add_argument("--out", type=_folder, metavar="DIR", help="folder to write the rework list to")
    parser.add_argument("--json", action="store_true", help="machine-readable JSON")


def _add_panel(verbs) -> None:
    parser = _verb(verbs, "panel", "Open the load table beside the verdict, as a page in the browser.")
    parser.add_argument("vehicle", metavar="VEHICLE", help="folder of CSV tables, or one XLSX workbook")
    parser.add_argument("--catalogue", metavar="DIR", help="tables of modules (default: 'catalogue' beside VEHICLE)")
    parser.add_argument("--module", metavar="NAME", help="module to begin with")
    parser.add_argument("--port", type=_port, metavar="N", help="port to serve at")
    parser.add_argument("--dark", action="store_true", help="dark page")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")


def _add_new(verbs) -> None:
    parser = _verb(verbs, "new", "Write tables to start from: blank ones of a vehicle or a catalogue, or the demo.")
    parser.add_argument("folder", type=_folder, metavar="DIR", help="folder that does not exist yet, or is empty")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--demo", action="store_true", help="two demo vehicles and their catalogue, all invented")
    which.add_argument("--catalogue", action="store_true", help="blank tables of modules instead of a vehicle")


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: 1 to 65535")
    return int(text)


def _jobs(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 to 1024")
    return int(text)


def _kbit(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a bit rate: 1 to 1000 kbit/s, 500 for example")
    return int(text)


def _stub(text: str) -> tuple[str, float]:
    name, _, length = text.rpartition("=")
    try:
        metres = float(length)
    except ValueError:
        metres = -1.0
    if not 0 <= metres <= 100:
        raise argparse.ArgumentTypeError(f"{text!r} is not a length of 0 to 100 m, such as 0.2 or control-40=0.2")
    return name, metres


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds") from None
    if not 0 <= seconds <= 1e7:
        raise argparse.ArgumentTypeError(f"{text!r} is not between 0 and 10,000,000 seconds")
    return seconds


if __name__ == "__main__":
    program()
