"""``tepui frequencies``: which IF and oscillator to take for a wanted channel, and why not the others."""

import argparse
from pathlib import Path

from tepui.cli.parsing import place, whole_number

EXAMPLE = """\
tepui frequencies --wanted "1286 MHz" --width "7 MHz" --if "474..860 MHz" --raster "1 MHz" --side low --json
tepui frequencies --wanted "2346 MHz" --width "8 MHz" --if "474, 578, 690 MHz" --side low --local "690 MHz"
tepui frequencies --wanted "10193 MHz" --width "6 MHz" --if "617 MHz" --side low --multiply 4 --fft 8K
  --phase-noise "1 kHz: -93 dBc/Hz, 200 kHz: -93 dBc/Hz" --reference-error "0.5 ppm" --far-tunes "470..862 MHz"
  --far-converter "9750 MHz" --far-error "15 ppm"
tepui frequencies station.toml --plots pictures"""
SIDES = ("low", "high", "both")
FFT_NAMES = ("2K", "4K", "8K")
MIXERS = ("typical", "single-balanced rf", "single-balanced lo", "ring")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("station", metavar="STATION", nargs="?", type=place, help="station file; options given beside it come first")
    add("--wanted", metavar="F", help='middle of the channel on the air: "1286 MHz"')
    add("--width", metavar="W", help='channel width: "7 MHz"')
    add("--if", dest="signal", metavar="F", help='modulator frequencies to try: "474..860 MHz" or "474, 578, 690 MHz"')
    add("--raster", metavar="F", help='step through a range of --if ("0.25 MHz")')
    add("--side", choices=SIDES, help="oscillator below or above the channel (both)")
    add("--modulator", metavar="F", help='what the modulator tunes: "170..230 MHz, 470..860 MHz"')
    add(
        "--local", metavar="F", action="append", help='strong local service: "690 MHz" or "690 MHz -35 dBm"; repeatable'
    )
    add("--local-band", metavar="REC", type=place, action="append", help="recording of the local band, or a table of "
        "MHz and dB: strong channels are found in it; repeatable, a narrow receiver needs several")  # fmt: skip
    add("--shielding", metavar="L", help='between local services in the shack and the mixer ("40 dB")')
    add("--protect", metavar="F", action="append", help='spectrum to keep clean: "1240..1260 MHz"; repeatable')
    add("--protect-limit", metavar="L", help='level there below the wanted signal ("-60 dB")')
    add("--near", metavar="F", help="how far from the centre a product counts as near (1.5 channels)")
    add("--order", metavar="N", type=whole_number, help="highest |m| + |n| (9)")
    add("--most-m", metavar="N", type=whole_number, help="highest multiple of the oscillator")
    add("--most-n", metavar="N", type=whole_number, help="highest multiple of the signal")
    add("--direct", action="store_true", help="also weigh the modulator's signal without a mixer")
    add("--second-if", metavar="F", help='two mixers: range or list of the second IF, "900..1300 MHz"')
    add("--second-raster", metavar="F", help='step through a range of --second-if ("10 MHz")')
    _levels(parser)
    _oscillator(parser)
    add("--far-tunes", metavar="F", help='what the far receiver tunes: "174..230 MHz, 470..862 MHz"')
    add("--far-raster", metavar="F", help="distance of the far receiver's channels")
    add("--far-converter", metavar="F", help='oscillator of a converter before it: "9750 MHz"')
    add("--far-error", metavar="E", help='error of that oscillator: "15 ppm"')
    add("--pull-in", metavar="F", help='error the far receiver follows: "125 kHz"')
    add("--plan", metavar="N", type=whole_number, help="state this plan in full (1)")
    add("--show", metavar="N", type=whole_number, help="plans whose products are listed, of a list over 500 (50)")
    add("--plots", metavar="DIR", type=Path, help="write the picture into this folder")
    add("--strict", action="store_true", help="leave with 1 where the plan stated is rejected")


def _levels(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--level", metavar="L", help='signal into the mixer ("-10 dBm")')
    add("--lo-level", metavar="L", help='oscillator into the mixer ("7 dBm")')
    add("--loss", metavar="L", help='conversion loss: "8 dB ± 1 dB"')
    add("--lo-isolation", metavar="L", help='oscillator to output: "28 dB"')
    add("--if-isolation", metavar="L", help='signal to output: "25 dB"')
    add("--harmonics", metavar="L", help='second harmonic of the modulator: "-40 dB"')
    add("--mixer", choices=MIXERS, help="whose levels of products (typical)")
    add(
        "--mixer-table",
        metavar="FILE.csv",
        type=place,
        help="own levels: columns m, n, level_db and, if known, doubt_db",
    )
    add("--goal", metavar="L", help='how far oscillator and image must lie below the wanted signal ("60 dB")')
    add("--filter-width", metavar="F", help="ripple width of the filter behind the mixer (5 channels)")
    add("--filter-poles", metavar="N", type=whole_number, help="its resonators (3)")
    add("--filter-ripple", metavar="L", help='its ripple, 0 dB for maximally flat ("0.1 dB")')
    add("--filter-q", metavar="Q", type=whole_number, help="unloaded Q of its resonators (1200)")


def _oscillator(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--oscillator", metavar="F", help='range of the oscillator before its multiplier: "1400..1600 MHz"')
    add("--step", metavar="F", help="step of the oscillator before its multiplier")
    add("--multiply", metavar="N", type=whole_number, help="factor of its multiplier (1)")
    add("--multiplier-harmonics", metavar="L", help='other harmonics of the multiplier ("-30 dB ± 10 dB")')
    add("--reference", metavar="F", help='reference of a fractional-N synthesiser: "25 MHz"')
    add("--reference-error", metavar="E", help='of the reference: "0.5 ppm"')
    add("--pfd-max", metavar="F", help='highest comparison frequency ("32 MHz")')
    add("--mod-max", metavar="N", type=whole_number, help="largest MOD (4095)")
    add("--int-min", metavar="N", type=whole_number, help="smallest INT (23)")
    add("--dividers", metavar="LIST", help='output dividers: "1, 2, 4, 8" (1)')
    add("--vco", metavar="F", help="range of the synthesiser's own oscillator")
    add("--loop", metavar="F", help='bandwidth of its loop ("50 kHz")')
    add("--phase-noise", metavar="P", help='before the multiplier: "1 kHz: -93 dBc/Hz, 200 kHz: -93 dBc/Hz"')
    add("--slope", metavar="L", help='per decade beyond the last point ("-20 dB")')
    add("--fft", choices=FFT_NAMES, help="FFT size of the signal (8K)")
    add("--modulator-mer", metavar="M", help='MER of the modulator: "38 dB"')
    add("--shoulder", metavar="L", help='shoulder of the amplifier: "-33 dB"')
    add("--measured-mer", metavar="M", help='MER read through a converter: "19.6 dB"')
    add("--receiver-to", metavar="F", help='highest frequency the receiver sees directly: "6 GHz"')


def run(arguments: argparse.Namespace) -> int:
    """Hand the options over; the desk turns them into SI beside what a station file says."""
    from tepui.desk.frequencies import run_frequencies

    return run_frequencies(vars(arguments), as_json=arguments.json, strict=arguments.strict)
