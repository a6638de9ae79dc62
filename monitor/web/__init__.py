"""One app on two sockets: the page for people and the interface of the command line. It decides nothing."""
