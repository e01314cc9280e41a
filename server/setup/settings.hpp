#pragma once
/// turnstone.json: the one settings file of `turnstone serve`. JSON with // and /* */ comments. Every setting
/// also has a command-line option, which wins. The defaults are the initial values below;
/// tools/demo/turnstone.json explains each.
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "shared/json_reader.hpp"

namespace turnstone {

struct Config {
    std::vector<std::filesystem::path> vehicles; ///< folders with dictionary.json and vehicle.json
    std::filesystem::path site;                  ///< file
    std::vector<std::string> links;              ///< link URIs; none: only recordings can be looked at
    std::filesystem::path recordings = "recordings";
    std::int64_t commit_interval_ms = 100; ///< [20, 240]: what a killed process can lose stays below 250 ms
    bool sync_every_commit = true;
    std::string listen_address; ///< numeric; empty: loopback, or every interface when shared
    std::uint16_t port = 8321;  ///< 0: any free one
    bool share = false;
    std::size_t viewers_max = 1200;
    std::vector<std::string> host_names; ///< further names browsers may use for this machine
    std::string operator_key;            ///< empty: a random one is made and printed at each start

    /// What to bind: listen_address, or the default that `share` asks for.
    [[nodiscard]] std::string bind_address() const;
};

/// Bounds shared by the file and the command line.
inline constexpr std::int64_t kCommitIntervalMsMin = 20;
inline constexpr std::int64_t kCommitIntervalMsMax = 240;
inline constexpr std::int64_t kViewersMax = 10000;
inline constexpr std::size_t kOperatorKeyMin = 16;

/// Paths in the file are relative to the file's folder.
[[nodiscard]] Config read_config(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems);
[[nodiscard]] Config read_config_file(const std::filesystem::path& path, std::vector<Problem>& problems);

/// What only the whole, options included, can show: nothing to serve, two settings that contradict each
/// other, a link URI with a mistake. `origin` names the settings in messages: the file, or "command line".
void check_config(const Config& config, const std::string& origin, std::vector<Problem>& problems);

} // namespace turnstone
