"""One eye, or both in one file, written on their own and whole, for the tests of writers."""

from contextlib import contextmanager

from postfix.deliver.eye_out import EyeOut
from postfix.deliver.packed import PackedOut
from postfix.deliver.video_parts import VideoPartsWriter, join_parts
from postfix.deliver.workroom import Workroom
from postfix.source.pair import PairSource
from postfix.source.segments import segments_of


def room_for(folder, name):
    """A workroom whose folder of pictures of that name is ``folder``, which exists; its parts lie beside it."""
    room = Workroom(
        folder.parent / f".{folder.name}.unfinished/out", folder.parent / f".{folder.name}.unfinished/parts"
    )
    for made in (room.pictures, room.parts):
        made.mkdir(parents=True, exist_ok=True)
    if not (room.pictures / name).exists():
        (room.pictures / name).symlink_to(folder.absolute(), target_is_directory=True)
    return room


class Whole:
    """A writer whose output is whole once it is closed."""

    def __init__(self, out, room, count):
        self._out, self._room = out, room
        self._writer = out.writer(room, segments_of(count))
        self.write, self.abandon = self._writer.write, self._writer.abandon

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace):
        if kind is None:
            self.close()
        else:
            self.abandon()

    def close(self):
        self._writer.close()
        self._out.join(self._room, lambda: None)


def eye_out(eye, codec=None):
    return EyeOut(PairSource(eye, eye, "clip"), "left", codec)


def writer_like(eye, folder):
    return Whole(eye_out(eye), room_for(folder, "left"), eye.count)


def reopen_and_count(folder, eye):
    return eye_out(eye).reopen(folder)


def packed_writer(pair, layout, folder, codec=None):
    return Whole(PackedOut(pair, layout, codec), room_for(folder, "packed"), pair.count)


def open_written_packed(folder, pair, layout, codec=None):
    return PackedOut(pair, layout, codec).reopen(room_for(folder, "packed"))


@contextmanager
def video_writer(path, spec, count, audio_from=None):
    """A video of so many frames, coded in segments and joined."""
    parts = room_for(path.parent, "left").parts_of("left")
    with VideoPartsWriter(path, parts, spec, segments_of(count), audio_from) as writer:
        yield writer
    join_parts(path.parent / path.name, parts, spec, segments_of(count), audio_from)
