#pragma once
/// The tape of tests/golden/stream: a small vehicle at an invented site, with those of the pipeline's own tables and
/// columns that the golden hello shows.
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "server/serve/port/server.hpp"

inline constexpr std::int64_t kTapeStartNs = 1779028325000000000; // 2026-05-17T14:32:05Z
inline constexpr const char* kTapeId = "2026-05-17T143205Z-sanderling";

/// Read from tests/serve/setup.
std::shared_ptr<const turnstone::PipelineSetup> golden_setup();
/// What the pipeline makes of that setup, cut down to the tables and columns of hello.json, in its order. Throws when
/// the pipeline has no such table or column.
std::shared_ptr<const turnstone::Schema> golden_schema();
turnstone::LiveTape golden_tape();

std::string golden_text(const std::string& name);  ///< a file of tests/golden/stream
std::string golden_bytes(const std::string& name); ///< a .hex file, decoded

/// Adds a row of the golden schema; t_s since kTapeStartNs.
void add_row(turnstone::Batch& batch, turnstone::TableId table, double t_s, const std::vector<double>& numbers,
             const std::vector<std::string_view>& texts = {});
turnstone::Event phase_event(double t_s); ///< as event.json, at another time
turnstone::Event note_event(double t_s, const std::string& text);
