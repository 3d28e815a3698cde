"""A bad TCP line on loopback between a café and its hub, by a seed.

  ok            passes on
  delay=MS      each piece waits that long
  rate=B        at most B bytes a second each way
  dribble       one byte a millisecond
  blackhole     nothing moves, nothing is closed; what waits goes on afterwards
  swallow       takes and forgets; cut when the phase ends
  cut           resets every connection, and each new one at once
  half          closes the café's side only
  corrupt=P     P percent of the pieces get one bit flipped
  dup           replays what a café sent, word for word, on a second connection
"""
import asyncio
import socket
import struct
import threading

import kit


class Line(threading.Thread):
    """Listens on `port`; the mode changes every moment until stop()."""

    def __init__(self, to_port, rng, modes, longest=0.5):
        super().__init__(daemon=True)
        self.to_port, self.rng, self.modes, self.longest = to_port, rng, modes, longest
        self.mode, self.value, self.port = 'ok', 0.0, None
        self.open, self.count = set(), dict(connections=0, cut=0, flipped=0, swallowed=0, replayed=0, answers=0)
        self.begun, self.done = threading.Event(), False
        self.start()
        self.begun.wait(kit.PATIENCE)

    def run(self):
        asyncio.run(self.main())

    def stop(self):
        """All is well from here on; the line stays."""
        self.done = True

    def turn(self, to_port):
        """From here on the line leads to another port; what was connected is cut."""
        self.to_port = to_port
        self.loop.call_soon_threadsafe(lambda: [self.reset(ends) for ends in list(self.open)])

    async def main(self):
        self.loop = asyncio.get_running_loop()
        server = await asyncio.start_server(self.serve, '127.0.0.1', 0)
        self.port = server.sockets[0].getsockname()[1]
        self.begun.set()
        while True:
            word = 'ok' if self.done else self.rng.choice(self.modes)
            self.mode, _, value = word.partition('=')
            self.value = float(value or 0)
            if self.mode in ('cut', 'half'):
                for ends in list(self.open):
                    self.reset(ends) if self.mode == 'cut' else ends[0].close()
            await asyncio.sleep(self.rng.uniform(0.05, self.longest))
            for ends in [e for e in self.open if self.count_doomed(e)]:
                self.reset(ends)

    @staticmethod
    def count_doomed(ends):
        return getattr(ends[0], 'doomed', False)

    def reset(self, ends):
        self.count['cut'] += 1
        for writer in ends:
            s = writer.get_extra_info('socket')
            if s is not None:
                try:
                    s.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack('ii', 1, 0))
                except OSError:
                    pass
            writer.transport.abort()

    async def serve(self, reader, writer):
        self.count['connections'] += 1
        port = self.to_port
        try:
            far_reader, far_writer = await asyncio.open_connection('127.0.0.1', port)
        except OSError:
            writer.transport.abort()
            return
        ends, sent = (writer, far_writer), bytearray()
        if self.mode == 'cut' or port != self.to_port:
            self.reset(ends)
            return
        self.open.add(ends)
        replay = asyncio.create_task(self.replay(sent)) if self.mode == 'dup' else None
        await asyncio.gather(self.pump(reader, far_writer, sent, ends), self.pump(far_reader, writer, None, ends))
        self.open.discard(ends)
        for w in ends:
            w.close()
        if replay is not None:
            await replay

    async def pump(self, reader, writer, sent, ends):
        try:
            while True:
                size = 1 if self.mode == 'dribble' else max(1, int(self.value / 20)) if self.mode == 'rate' else 65536
                piece = await reader.read(size)
                while self.mode == 'blackhole':
                    await asyncio.sleep(0.01)
                if not piece:
                    break
                if sent is not None:
                    sent += piece
                if self.mode == 'swallow':
                    self.count['swallowed'] += len(piece)
                    ends[0].doomed = True
                    continue
                writer.write(await self.bend(piece))
                await writer.drain()
        except (ConnectionError, OSError):
            pass
        finally:
            writer.close()

    async def bend(self, piece):
        if self.mode == 'delay':
            await asyncio.sleep(self.value / 1000)
        elif self.mode == 'rate':
            await asyncio.sleep(len(piece) / self.value)
        elif self.mode == 'dribble':
            await asyncio.sleep(0.001)
        elif self.mode == 'corrupt' and self.rng.uniform(0, 100) < self.value:
            raw = bytearray(piece)
            raw[self.rng.randrange(len(raw))] ^= 1 << self.rng.randrange(8)
            self.count['flipped'] += 1
            return bytes(raw)
        return piece

    async def replay(self, sent):
        """The greeting of ZMTP may come back, 64 bytes, and what the handshake answers; no more."""
        await asyncio.sleep(0.3)
        try:
            reader, writer = await asyncio.open_connection('127.0.0.1', self.to_port)
            writer.write(bytes(sent))
            self.count['replayed'] += 1
            while piece := await asyncio.wait_for(reader.read(4096), 2):
                self.count['answers'] += len(piece)
            writer.close()
        except (ConnectionError, OSError, asyncio.TimeoutError):
            pass
