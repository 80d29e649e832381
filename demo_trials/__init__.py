"""The demo experiment: invented trials of a kitchen radio's cone, and the model behind them."""
