#pragma once
/// What is kept from one start to the next: how far the broker has what this station received.
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

/// A place among the inputs of a recording.
struct PublishPlace {
    std::uint64_t stream = 0;                          ///< see BROKER.md
    std::uint64_t next_input = 0;                      ///< the first that the broker may not have
    std::int64_t t_last_ns = 0;                        ///< of the one before it, to know the recording by
    std::map<std::string, std::uint64_t> offsets = {}; ///< by link, in the stream
    friend bool operator==(const PublishPlace&, const PublishPlace&) = default;
};

struct PublishState {
    std::vector<std::string> recordings; ///< those that the broker does not have whole, in their order
    PublishPlace place;                  ///< in the first of them
    friend bool operator==(const PublishState&, const PublishState&) = default;
};

[[nodiscard]] std::string to_json(const PublishState& state);
/// Empty: it is not what to_json wrote.
[[nodiscard]] std::optional<PublishState> publish_state_from_json(std::string_view text);

/// Empty: there is none, or it cannot be read.
[[nodiscard]] std::optional<PublishState> read_publish_state(const std::filesystem::path& file);
/// The file holds the one before or this one, whatever happens.
[[nodiscard]] Result<void> write_publish_state(const std::filesystem::path& file, const PublishState& state);

} // namespace turnstone
