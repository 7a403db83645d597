"""Train the network that finds roots; needs the extra ``train``. The package itself never imports this.

Walls are made on the GPU (``things``, ``ground``, ``light``, ``maker``) and by
rendering scenes (``feed``); both are photographed anew for every look
(``camera``, ``pool``). ``run`` trains, ``export`` writes the file that ships, ``reopen`` goes back from it.
"""
