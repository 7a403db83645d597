"""Training of the network that looks where two followed roots may have been taken for each other.

``python -m rootread.train.swaps.walls FOLDER`` makes walls, follows their roots and keeps the pictures of
such places, ``python -m rootread.train.swaps.run FOLDER OUT.pt`` learns from them,
``python -m rootread.train.swaps.export OUT.pt FOLDER rootread/follow/weights/swaps.onnx`` writes what ships.
"""
