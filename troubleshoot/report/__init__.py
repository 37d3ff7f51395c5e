"""A report as blocks, and the same blocks as a page, a sheet of cells, data, print or plain text.

Belongs here: what a report is made of (`blocks`), our own drawings (`drawing`), and one module a form: `html`, `cells`
(CSV), `data` (JSON), `pages` (PDF), `text`.
Not here: what a report says (review, store), where a file goes and who may read it (cli).
Knows: text, to show outside words safely. Pure: nothing is read or written, no clock; each form is a function from blocks
to text or bytes.

Whatever the blocks hold is outside text. No form lets any of it become a tag, a script, a formula or a command.
"""
