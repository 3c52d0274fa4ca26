"""Options that the verbs on running receivers share: which receiver, its rate, gains, pads."""

import argparse
import sys
from typing import TYPE_CHECKING

from tepui.cli.parsing import UsageError, quantity, sample_rate_hz

if TYPE_CHECKING:
    from tepui.desk.live import ReceiverChoice


def add_receiver_options(parser: "argparse._ActionsContainer", *, needed: bool = True, rate: bool = True) -> None:
    """Declare them; without ``rate`` where the verb has an option of that name already."""
    add = parser.add_argument
    add("--receiver", metavar="NAME", required=needed, help="as 'tepui receivers' lists it; practice is always there")
    if rate:
        add("--rate", metavar="RATE", help='sample rate ("2.4 MS/s", or the nearest the receiver has)')
    add(
        "--gain",
        metavar="NAME=G",
        action="append",
        default=[],
        help='set a gain element, such as --gain "LNA=20 dB"; once for each',
    )
    add("--front", metavar="NAME", help="the gain element ahead of the first stage that distorts")
    add("--behind", metavar="NAME", help="a gain element behind it (intermediate frequency)")
    add("--step-pad", metavar="NAME", help="a gain element that is a step attenuator at the input")
    add("--attenuator", metavar="A", help='pads fitted at the input ("20 dB")')


def receiver_choice(arguments: argparse.Namespace) -> "ReceiverChoice":
    """What they ask for.

    raises  InputError
    """
    from tepui.desk.live import ReceiverChoice

    gains = {}
    for text in arguments.gain:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            raise UsageError(f'--gain is written NAME=G, such as "LNA=20 dB", not {text}.')
        gains[name.strip()] = quantity(value.strip(), kind="ratio", option="--gain")
    attenuator = arguments.attenuator
    return ReceiverChoice(
        key=arguments.receiver,
        rate_hz=None if arguments.rate is None else sample_rate_hz(arguments.rate, option="--rate"),
        gains_db=gains,
        front=arguments.front,
        behind=arguments.behind,
        pad=arguments.step_pad,
        attenuator_db=None if attenuator is None else quantity(attenuator, kind="ratio", option="--attenuator"),
    )


def asked_on_terminal(sentence: str) -> bool:
    """Show it and wait for Enter, where somebody can press it."""
    if sys.stdin is None or not sys.stdin.isatty() or not sys.stderr.isatty():
        return False
    sys.stderr.write(f"tepui: {sentence}, then press Enter (Ctrl-C stops) ")
    sys.stderr.flush()
    return bool(sys.stdin.readline())
