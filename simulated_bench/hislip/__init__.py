"""An instrument over HiSLIP, the LAN instrument protocol of IVI-6.1, version 1.0 of the protocol.

One session is two connections: messages go over the synchronous one, what must not wait behind them
(status, device clear) over the asynchronous one. Synchronized mode only. Not served: locks are
never granted, no service requests (ask for the status instead), no encryption.
"""
