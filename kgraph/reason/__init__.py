"""What follows from facts, and how surely: a question becomes a network, and the network is weighed."""
