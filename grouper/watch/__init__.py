"""The service: an inbox of cards is watched, and each card is grouped once it has settled.

``desk`` decides what is to be done next and knows neither disk nor clock; ``service`` does
it: ``looker`` looks at the inbox, ``changes`` hears of events, ``hand`` keeps the child that
groups (``worker``) and ``grouping`` gives it cards, ``ledger`` and ``state`` remember,
``errands`` and ``hooks`` run the owner's commands, ``board``, ``page`` and ``status`` tell,
``clearing`` cleans up by the rules of ``tidy``. Only the child imports the heavy parts.
"""
