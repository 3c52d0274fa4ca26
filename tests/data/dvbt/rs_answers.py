"""Makes rs_answers.npz: words with 0 to 12 wrong bytes and what galois 0.4.11 decodes from them.

    python tests/data/dvbt/rs_answers.py

ReedSolomon(255, 239, c=0) over GF(2^8) with x^8 + x^4 + x^3 + x^2 + 1, shortened to (204, 188). Kept as a file because
galois compiles for ten seconds.
"""

from pathlib import Path

import galois
import numpy as np


def main() -> None:
    rng = np.random.default_rng(204188)
    code = galois.ReedSolomon(255, 239, c=0)
    n_wrong = np.repeat(np.arange(13), 8)
    received = np.array(code.encode(code.field(rng.integers(0, 256, (len(n_wrong), 188))))).astype(np.uint8)
    for word, count in zip(received, n_wrong, strict=True):
        word[rng.choice(204, count, replace=False)] ^= rng.integers(1, 256, count, np.uint8)
    decoded, corrected = code.decode(code.field(received), errors=True)
    np.savez_compressed(
        Path(__file__).with_suffix(".npz"),
        received=received,
        decoded=np.array(decoded).astype(np.uint8),
        corrected=np.asarray(corrected).astype(np.int16),
    )


if __name__ == "__main__":
    main()
