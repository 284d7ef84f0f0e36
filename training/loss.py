"""Loss: each landmark is a choice among all heat cells and "nowhere"; its softmax is the model that reading uses."""

import torch
from torch import Tensor
from torch.nn import functional

from training.augment import Batch
from training.network import STRIDE


def cells_of(xy_px: Tensor) -> Tensor:
    """Heat cells of places in crop px, any shape: the middle of cell c is at px 4 c + 1.5."""
    return (xy_px + 0.5) / STRIDE - 0.5


def landmark_loss(heat: Tensor, absent: Tensor, batch: Batch, spread: float) -> Tensor:
    """Mean cross-entropy over landmarks, nats: heat (N, 6, H, W) and absent (N, 6) logits against the batch's truth.

    The target is a bell of SD ``spread`` cells around the exact place, or all on "nowhere".
    """
    heat, absent = heat.float(), absent.float()
    norm = torch.logsumexp(torch.cat([heat.flatten(2), absent[..., None]], dim=2), dim=2)
    cell = cells_of(batch.xy)
    there = ~torch.isnan(batch.xy[..., 0])
    across, down = _bell(cell[..., 0], heat.shape[3], spread), _bell(cell[..., 1], heat.shape[2], spread)
    aimed = torch.einsum("nkh,nkhw,nkw->nk", down, heat, across)
    chosen = torch.where(there, aimed, absent)
    return ((norm - chosen) * batch.weight).sum() / batch.weight.sum()


def _bell(centre: Tensor, cells: int, spread: float) -> Tensor:
    """(N, 6, cells) bell around ``centre`` (N, 6) in cells, sum 1; any where the centre is NaN."""
    axis = torch.arange(cells, device=centre.device)
    bell = torch.exp(-((axis - centre.nan_to_num(0.0)[..., None]) ** 2) / (2 * spread**2))
    return bell / bell.sum(-1, keepdim=True).clamp(min=1e-9)


def facing_loss(facing: Tensor, batch: Batch) -> Tensor:
    """Binary cross-entropy, nats, of "faces right": facing (N, 1) logits over the wide crops that hold a dog.

    Tight crops always face right: counting them would teach that a large dog does.
    """
    counted = batch.dog * (~batch.tight).float()
    each = functional.binary_cross_entropy_with_logits(facing.float()[:, 0], batch.right, reduction="none")
    return (each * counted).sum() / counted.sum().clamp(min=1.0)
