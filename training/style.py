"""Style: pictures of a batch lend one another the statistics of their features, so that coats and light count less."""

from dataclasses import dataclass

import torch
from torch import Tensor

_TINY = 1e-5


@dataclass(frozen=True, slots=True)
class Lending:
    """Mean and scatter of each channel taken in part from another picture of the batch (Zhou et al. 2021, MixStyle,
    ICLR, from memory, not read). What lies where, and what is darker than what within a picture, stays.

    share   of the pictures that this happens to, anew in each map
    rng     same state, same pictures lend
    """

    share: float
    rng: torch.Generator

    def __call__(self, x: Tensor) -> Tensor:
        """(N, C, H, W) features with the statistics of others."""
        lends, kept = torch.rand((2, len(x), 1, 1, 1), generator=self.rng, device=x.device)
        kept = torch.where(lends < self.share, kept, 1.0)
        other = torch.randperm(len(x), generator=self.rng, device=x.device)
        variance, mean = torch.var_mean(x.detach().float(), dim=(2, 3), keepdim=True)
        scatter = torch.sqrt(variance + _TINY)
        factor = kept + (1 - kept) * scatter[other] / scatter
        offset = kept * mean + (1 - kept) * mean[other] - factor * mean
        return x * factor.to(x.dtype) + offset.to(x.dtype)
