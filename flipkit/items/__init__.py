"""One item's economics: packing, labour and costs, frame in and frame out."""
