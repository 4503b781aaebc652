"""The shots of a run laid on one floor view: markers located, views fitted, floor aligned with floor."""
