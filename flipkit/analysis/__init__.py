"""What the shop's numbers say: arrays and frames in, frames out."""
