#pragma once
/// What the simulator says it sent, packet by packet, and whether a recording accounts for all of it.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <utility>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/database.hpp"

namespace turnstone::test {

struct Manifest {
    struct Packet {
        std::string fate;
        int intact_copies;
    };
    nlohmann::json run;
    std::map<std::pair<int, int>, Packet> packets; ///< by APID and sequence count, unique within one flight

    explicit Manifest(const std::filesystem::path& path) {
        std::ifstream in(path);
        std::string line;
        while (std::getline(in, line)) {
            const auto json = nlohmann::json::parse(line);
            if (json["kind"] == "run")
                run = json;
            else
                packets[{json["apid"], json["sequence_count"]}] = {json["fate"], json["intact_copies"]};
        }
    }
};

/// Every byte that was delivered is in the file, and every packet was recorded or lost by a named cause. Returns how
/// many packets had each fate.
inline std::map<std::string, int> check_accounted(Database& database, const Manifest& manifest) {
    {
        INFO("every byte the link delivered is in the file, in order and without a hole");
        CHECK(database.integer("SELECT sum(length(bytes)) FROM chunk") ==
              manifest.run["bytes_delivered"].get<std::int64_t>());
        CHECK(database.integer("SELECT count(*) FROM chunk a WHERE stream_offset != "
                               "(SELECT coalesce(sum(length(bytes)), 0) FROM chunk b WHERE b.input < a.input)") == 0);
    }
    {
        INFO("what the link statistics counted is what the frames say");
        const std::string last = " FROM link_radio ORDER BY id DESC LIMIT 1";
        CHECK(database.integer("SELECT frames_good" + last) ==
              database.integer("SELECT count(*) FROM frame WHERE frame_verdict = 0"));
        CHECK(database.integer("SELECT bytes" + last) == database.integer("SELECT sum(length(bytes)) FROM chunk"));
    }
    INFO("a packet that arrived whole was accepted once and its duplicates were told apart; a damaged one never "
         "passed");
    struct Seen {
        int accepted = 0, duplicates = 0, other = 0;
    };
    std::map<std::pair<int, int>, Seen> seen;
    std::map<std::string, int> fates;
    database.query("SELECT f.apid, f.sequence_count, u.packet_verdict FROM frame f JOIN frame_utc u USING (id)",
                   [&](sqlite3_stmt* row) {
                       const std::string verdict = reinterpret_cast<const char*>(sqlite3_column_text(row, 2));
                       if (verdict == "bad_frame") {
                           ++fates[verdict];
                           return;
                       }
                       Seen& s = seen[{sqlite3_column_int(row, 0), sqlite3_column_int(row, 1)}];
                       s.accepted += verdict == "accepted" || verdict == "late";
                       s.duplicates += verdict == "duplicate";
                       s.other += verdict == "undecodable" || verdict == "idle";
                   });
    for (const auto& [key, packet] : manifest.packets) {
        INFO("APID " << key.first << " sequence count " << key.second << " " << packet.fate);
        ++fates[packet.fate];
        const Seen got = seen.contains(key) ? seen[key] : Seen{};
        CHECK(got.accepted == (packet.intact_copies > 0 ? 1 : 0));
        CHECK(got.duplicates == std::max(0, packet.intact_copies - 1));
        CHECK(got.other == 0);
        fates["duplicate"] += std::max(0, packet.intact_copies - 1);
        seen.erase(key);
    }
    CHECK(seen.empty()); // nothing that was never sent
    return fates;
}

} // namespace turnstone::test
