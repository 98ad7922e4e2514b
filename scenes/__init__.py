"""Demo scenes, one folder each, invented for the purpose: no real room, client or product is behind them."""
