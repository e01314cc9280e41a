#pragma once
/// Reads what a field's raw values mean: calibrations and words. Inner part of read_dictionary().
#include "protocol/dictionary/scope.hpp"

namespace turnstone {

/// Fills enumeration or words, and calibration or calibrations.
void read_meaning(JsonReader& reader, Field& field, Scope& scope);

} // namespace turnstone
