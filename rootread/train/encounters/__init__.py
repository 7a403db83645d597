"""Training of the network that says which limbs of two followed roots are of one root.

``python -m rootread.train.encounters.walls FOLDER`` makes walls, follows their roots and keeps pictures of
where they come near each other, ``python -m rootread.train.encounters.run FOLDER OUT.pt`` learns from them,
``python -m rootread.train.encounters.export FOLDER rootread/follow/weights/encounters.onnx OUT.pt`` writes
what ships.
"""
