"""A lathe, a bar, an edge and chips that exist only as numbers, to try advice on.

For tests only. The bench knows nothing of the advisor: it imports none of its modules and
shares none of its tables; ``test_apart.py`` watches over that. What happens to a chip follows
named published relations (``published``) whose constants (``constants``) are blurred job by
job into hidden ones (``world``) that no player ever sees. A player gets what a machinist
would get: settings, measured diameters, noises, and a reading of the chips with its doubts.

What a figure from here is worth: it says that the advice copes with a world built on the
same textbooks by other hands, noisy and never quite as the book says. It says nothing about
a real lathe.
"""
