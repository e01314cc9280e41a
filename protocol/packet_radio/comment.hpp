#pragma once
/// What stands anywhere in the comment of a position. Inner part of read_report().
#include <string_view>

#include "protocol/packet_radio/report.hpp"

namespace turnstone {

/// - "/A=" with six characters: feet above mean sea level (chapter 6).
/// - "!W37!" or "!wXy!": digits behind those of a place to hundredths of a minute, of the datum WGS 84. Later than the
///   reference 1.0.1, common practice.
/// - "|sequence, one to five values, bits|", each of two digits of base 91, the bits only behind five values and the
///   lowest first. Later than the reference 1.0.1, common practice.
void read_comment(std::string_view comment, Report& out) noexcept;

} // namespace turnstone
