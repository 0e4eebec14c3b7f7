"""Random draws that stay the same: a stream for each purpose, made from raw bits alone.

The library that supplies the bits promises the raw bits of a generator for ever, but not the
values of its ready-made distributions. A shop drawn today must be the same shop after an
upgrade, so every draw here starts from raw bits. A stream has a name, so a new draw somewhere
never moves the draws elsewhere.
"""

from __future__ import annotations

import zlib

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Draws:
    """Named streams of random draws from one seed.

    Parameters
    ----------
    seed : int
        The seed that all streams share, at least 0.

    Examples
    --------
    >>> one = Draws(7).uniform("price", 2)
    >>> bool((one == Draws(7).uniform("price", 2)).all()), bool((one == Draws(7).uniform("cost", 2)).any())
    (True, False)
    """

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._streams: dict[str, np.random.PCG64] = {}

    def uniform(self, name: str, size: int) -> Floats:
        """Numbers above 0 and below 1.

        Parameters
        ----------
        name : str
            The stream; calling it again goes on where it stopped.
        size : int
            How many.

        Returns
        -------
        array, shape (size,)
            The numbers.
        """
        stream = self._streams.get(name)
        if stream is None:
            stream = np.random.PCG64(np.random.SeedSequence([self.seed, zlib.crc32(name.encode())]))
            self._streams[name] = stream
        raw = np.atleast_1d(stream.random_raw(size))
        # The half keeps the number off 0, where the logarithm and the normal quantile are infinite.
        return ((raw >> np.uint64(12)).astype(np.float64) + 0.5) / 2.0**52

    def normal(self, name: str, size: int) -> Floats:
        """Standard normal numbers.

        Parameters
        ----------
        name : str
            The stream.
        size : int
            How many.

        Returns
        -------
        array, shape (size,)
            The numbers.
        """
        from scipy.special import ndtri

        return np.asarray(ndtri(self.uniform(name, size)), dtype=np.float64)

    def waiting(self, name: str, size: int) -> Floats:
        """Exponential waiting times of mean 1.

        Parameters
        ----------
        name : str
            The stream.
        size : int
            How many.

        Returns
        -------
        array, shape (size,)
            The times.
        """
        return -np.log(self.uniform(name, size))

    def whole(self, name: str, low: int, high: int, size: int) -> Ints:
        """Whole numbers from low to high, both included, all as likely.

        Parameters
        ----------
        name : str
            The stream.
        low, high : int
            The ends.
        size : int
            How many.

        Returns
        -------
        array, shape (size,)
            The numbers, int64.
        """
        return low + np.floor(self.uniform(name, size) * (high - low + 1)).astype(np.int64)

    def choice(self, name: str, weights: npt.ArrayLike, size: int) -> Ints:
        """Places 0 to k - 1, each as likely as its weight.

        Parameters
        ----------
        name : str
            The stream.
        weights : array, shape (k,)
            Weights of at least 0.
        size : int
            How many.

        Returns
        -------
        array, shape (size,)
            The places, int64.
        """
        edges = np.cumsum(np.asarray(weights, dtype=np.float64))
        place = np.searchsorted(edges, self.uniform(name, size) * edges[-1], side="right")
        return np.minimum(place, len(edges) - 1).astype(np.int64)

    def counts(self, name: str, mean: npt.ArrayLike) -> Ints:
        """Poisson counts, one for each mean, by adding up the chances (means below about 50).

        Parameters
        ----------
        name : str
            The stream.
        mean : array, shape (n,)
            Means of at least 0.

        Returns
        -------
        array, shape (n,)
            The counts, int64.
        """
        given = np.asarray(mean, dtype=np.float64)
        target = self.uniform(name, given.size)
        count = np.zeros(given.size, dtype=np.int64)
        chance = np.exp(-given)
        total = chance.copy()
        while (below := (total < target) & (chance > 1e-18)).any():
            count += below
            chance = np.where(below, chance * given / np.maximum(count, 1), chance)
            total = np.where(below, total + chance, total)
        return count
