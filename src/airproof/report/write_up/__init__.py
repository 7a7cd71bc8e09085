"""The write-up of a job: one content, written as a PDF and as one page of HTML; and the teaching sheet.

The first page is for the owner, in plain words; behind it stands for the trade what all of it rests on.
"""
