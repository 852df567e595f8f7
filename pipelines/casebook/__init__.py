"""The casebook: one database in which customer, technician and archivist keep cases, answers and decisions.

Nothing is imported here: SQLAlchemy is an extra, and `rakelight --help` must not wait for it.
"""
