"""The recorder: what a car tells while it is driven, asked for by what would tell the open causes apart."""
