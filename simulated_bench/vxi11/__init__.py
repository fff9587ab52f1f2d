"""An instrument over VXI-11, the older LAN instrument protocol (revision 1.0, core and abort).

Remote procedure calls (RFC 5531) in XDR (RFC 4506): a client makes a link, writes to it and reads
from it. Clients have to name the port, as `TCPIP0::HOST,PORT::inst0::INSTR` does: there is no port
mapper, whose port 111 takes privileges. Not served: locks, service requests, `device_docmd`.
"""
