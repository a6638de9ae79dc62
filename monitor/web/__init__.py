"""One app on two sockets: the page for people, and the interface the command line uses. It decides nothing."""
