"""The rehearsal: card dumps rendered from described cameras, with known truth, and a scorer.

Data goes one way: an outing (what a photographer did) becomes a card (plain records of shots
and of the truth), a card becomes files, and what grouper made of the files is scored against
the truth.
"""
