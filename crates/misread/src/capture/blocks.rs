//! The blocks of an FST file, looked over before a library reads them: it takes
//! a file that was cut for whole or for empty, and asks for as much memory as a
//! bent length says, which ends the program where there is not as much.

use std::io::{self, BufRead, Read, Seek, SeekFrom};

use super::{Damage, Place};

/// What is wrong with an FST file.
pub(super) enum Trouble {
    /// It ends too early; what is there may be read, up to the end of the last
    /// whole block.
    Cut(Damage, u64),
    /// It is not to be read.
    Bent(Damage),
}

/// Where an FST file is cut or bent: it is a row of blocks, each with a byte for
/// its type and its length in eight. The last one may run past the end, or those
/// that are written last, the list of signals, may be missing.
pub(super) fn find_trouble<R: BufRead + Seek>(input: &mut R) -> io::Result<Option<Trouble>> {
    let end = input.seek(SeekFrom::End(0))?;
    let cut = |whole, found| Trouble::Cut(damage(end, found, "the rest of it"), whole);
    let bent = |at, found| Trouble::Bent(damage(at, found, "lengths that fit"));
    let (mut geometry, mut hierarchy) = (None, false);
    let mut changing = 0;
    let mut at = 0;
    while at < end {
        let inside = || cut(at, format!("the file ends inside the block that begins at byte {at}"));
        if at + 9 > end {
            return Ok(Some(inside()));
        }
        input.seek(SeekFrom::Start(at))?;
        let kind = byte(input)?;
        // The length counts itself, and not the byte for the type.
        let length = number(input)?.max(8);
        let after = (at + 1).checked_add(length).filter(|&after| after <= end);
        let Some(after) = after else { return Ok(Some(inside())) };
        let block = Block { at: at + 1, length };
        let sound = match kind {
            1 | 5 | 8 => block.changes(input)?.map(|signals| changing = signals.max(changing)),
            2 => block.pauses(input)?,
            3 => block.geometry(input)?.map(|signals| geometry = Some(signals)),
            4 | 6 | 7 => {
                hierarchy = true;
                block.hierarchy(input, kind)?
            }
            // The whole file, packed in one block.
            254 => {
                (geometry, hierarchy) = (Some(u64::MAX), true);
                Some(())
            }
            _ => Some(()),
        };
        if sound.is_none() {
            let found = format!("the block that begins at byte {at} holds lengths it cannot have");
            return Ok(Some(bent(at, found)));
        }
        at = after;
    }
    Ok(match geometry.filter(|_| hierarchy) {
        Some(signals) if changing <= signals => None,
        Some(_) => Some(bent(0, "more signals change than there are".to_owned())),
        None => Some(cut(end, "the file ends before the list of its signals".to_owned())),
    })
}

fn damage(place: u64, found: String, expected: &str) -> Damage {
    let expected = format!("{expected}: record or export the capture again");
    Damage { place: Place::Byte(place), found, expected }
}

/// A file up to an end of its own.
pub(super) struct UpTo<R> {
    inner: R,
    at: u64,
    end: u64,
}

impl<R: BufRead + Seek> UpTo<R> {
    /// All of it where there is no end; from its beginning.
    pub(super) fn new(mut inner: R, end: Option<u64>) -> io::Result<Self> {
        let whole = inner.seek(SeekFrom::End(0))?;
        inner.rewind()?;
        Ok(UpTo { inner, at: 0, end: end.map_or(whole, |end| end.min(whole)) })
    }

    fn left(&self) -> usize {
        usize::try_from(self.end.saturating_sub(self.at)).unwrap_or(usize::MAX)
    }
}

impl<R: BufRead + Seek> Read for UpTo<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let wanted = buffer.len().min(self.left());
        let read = self.inner.read(&mut buffer[..wanted])?;
        self.at += read as u64;
        Ok(read)
    }
}

impl<R: BufRead + Seek> BufRead for UpTo<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        let left = self.left();
        let available = self.inner.fill_buf()?;
        Ok(&available[..available.len().min(left)])
    }

    fn consume(&mut self, amount: usize) {
        self.inner.consume(amount);
        self.at += amount as u64;
    }
}

impl<R: BufRead + Seek> Seek for UpTo<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let target = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => self.end.checked_add_signed(by),
        };
        let target = target.ok_or(io::ErrorKind::InvalidInput)?;
        self.at = self.inner.seek(SeekFrom::Start(target))?;
        Ok(self.at)
    }
}

/// The most by which deflate makes anything shorter, and LZ4.
const DEFLATE: u64 = 1032;
const LZ4: u64 = 255;

/// A block, from its length on.
struct Block {
    at: u64,
    length: u64,
}

impl Block {
    /// How many signals a block of changes says there are: in front of where
    /// they stand as it begins, and in front of the changes. At its end are the
    /// lengths of the list of times.
    fn changes<R: BufRead + Seek>(&self, input: &mut R) -> io::Result<Option<u64>> {
        let Some(tail) = self.length.checked_sub(24 + 32) else { return Ok(None) };
        input.seek(SeekFrom::Start(self.at + self.length - 24))?;
        let [unpacked, packed, times] = [number(input)?, number(input)?, number(input)?];
        let Some(before_times) = tail.checked_sub(packed).and_then(|rest| rest.checked_sub(8))
        else {
            return Ok(None);
        };
        input.seek(SeekFrom::Start(self.at + 32 + before_times))?;
        let chain = number(input)?;
        input.seek(SeekFrom::Start(self.at + 32))?;
        let [stand_unpacked, stand_packed, standing] =
            [variable(input)?, variable(input)?, variable(input)?];
        let sound = unpacked <= packed.saturating_mul(DEFLATE)
            && times <= unpacked
            && chain <= before_times
            && stand_packed <= before_times
            && stand_unpacked <= stand_packed.saturating_mul(DEFLATE);
        if !sound {
            return Ok(None);
        }
        input.seek_relative(stand_packed as i64)?;
        Ok(Some(standing.max(variable(input)?)))
    }

    /// A list of when the recording paused.
    fn pauses<R: BufRead + Seek>(&self, input: &mut R) -> io::Result<Option<()>> {
        Ok((variable(input)? <= self.length).then_some(()))
    }

    /// How many signals there are.
    fn geometry<R: BufRead + Seek>(&self, input: &mut R) -> io::Result<Option<u64>> {
        let [unpacked, signals] = [number(input)?, number(input)?];
        let Some(packed) = self.length.checked_sub(24) else { return Ok(None) };
        let sound = unpacked <= packed.saturating_mul(DEFLATE) && signals <= unpacked;
        Ok(sound.then_some(signals))
    }

    /// The list of signals: packed, by one of three ways.
    fn hierarchy<R: BufRead + Seek>(&self, input: &mut R, kind: u8) -> io::Result<Option<()>> {
        let unpacked = number(input)?;
        let Some(packed) = self.length.checked_sub(16) else { return Ok(None) };
        let most = match kind {
            4 => packed.saturating_mul(DEFLATE),
            6 => packed.saturating_mul(LZ4),
            // Twice.
            _ => match variable(input)? {
                once if once <= packed.saturating_mul(LZ4) => once.saturating_mul(LZ4),
                _ => 0,
            },
        };
        Ok((unpacked <= most).then_some(()))
    }
}

fn byte(input: &mut impl Read) -> io::Result<u8> {
    let mut byte = [0];
    read_what_there_is(input, &mut byte)?;
    let [byte] = byte;
    Ok(byte)
}

/// Eight bytes, the most significant first.
fn number(input: &mut impl Read) -> io::Result<u64> {
    let mut bytes = [0; 8];
    read_what_there_is(input, &mut bytes)?;
    Ok(u64::from_be_bytes(bytes))
}

/// Seven bits a byte, the least significant first, until one without the top
/// bit.
fn variable(input: &mut impl Read) -> io::Result<u64> {
    let mut number = 0;
    for shift in (0..64).step_by(7) {
        let byte = byte(input)?;
        number |= u64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            break;
        }
    }
    Ok(number)
}

/// Past the end there are zeros.
fn read_what_there_is(input: &mut impl Read, bytes: &mut [u8]) -> io::Result<()> {
    match input.read_exact(bytes) {
        Err(error) if error.kind() != io::ErrorKind::UnexpectedEof => Err(error),
        _ => Ok(()),
    }
}
