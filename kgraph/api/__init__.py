"""The way in for programs: a folder, its questions with typed answers, and entries added to it.

What `import kgraph` gives is public; all else of the package is private and changes without notice.
"""
