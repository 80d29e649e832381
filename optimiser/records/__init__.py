"""What the questions answer, one module an answer; `optimiser.answers` names them all."""
