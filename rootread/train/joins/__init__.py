"""Training of the network that looks at joins.

``python -m rootread.train.joins.walls FOLDER`` makes walls and keeps the strips of their joins,
``python -m rootread.train.joins.run FOLDER OUT.pt`` learns from them,
``python -m rootread.train.joins.export OUT.pt FOLDER rootread/follow/weights/joins.onnx``
writes what ships.
"""
