"""From a firm's own book to the records: what its headings and cells mean, and what to ask.

Takes headings and cells as a firm writes them; gives readings: none where a cell cannot be read,
one where it is clear, several where the firm must be asked. Nothing ambiguous is guessed.
"""
