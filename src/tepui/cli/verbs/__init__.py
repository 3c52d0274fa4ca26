"""One module per verb: ``EXAMPLE``, ``add_arguments(parser)`` and ``run(arguments) -> exit code``.

A module here imports nothing heavy at its top: ``--help`` must not wait for the physics. ``cli/catalogue.py`` lists
the verbs.
"""
