"""The whole picture: summaries of a recording heard together, by what rehearsals teach of each cause."""
