#pragma once
/// Which tables and channels decoding a dictionary's packets gives. Inner part of read_dictionary().
#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// Fills Dictionary::tables and the places in packets and groups that say which is theirs.
void make_tables(Dictionary& dictionary);

} // namespace turnstone
