"""The pages, by subject: each takes a request and gives an answer."""
