//! Everything that is checked of the reader through its public face, in one program: it is linked once.

mod answers;
mod beside;
mod columns;
mod days;
mod grades;
mod heads;
mod hostile;
mod labels;
mod scores;
mod seed;
mod sentences;
mod sheets;
mod small_print;
mod spoken;
mod strange;
mod tiers;
mod told;
mod unmarked;
mod wordings;
mod workbooks;
