"""The bench in the browser: pages over the same verbs as the command line.

``serve`` starts it, ``app`` has the routes, ``guard`` decides who may ask, ``views`` fills the templates; ``marks``,
``bars`` and ``strip`` draw what stands beside a number; ``pictures`` lets a verb's pictures follow day and night.
"""
