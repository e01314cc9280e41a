#pragma once
/// The inside of RecordingReader, shared by its source files.
#include "server/record/format/fixed_tables.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

struct RecordingReader::State {
    explicit State(const std::filesystem::path& file) : path(file), database(file, Database::Mode::read_only) {}
    std::filesystem::path path;
    Database database;
    std::vector<StoredTable> tables;
    Schema schema;
    std::vector<Statement> latest, window; ///< prepared once per table, at first use
    std::string damage;

    [[nodiscard]] std::string meta(const std::string& key);
    void note_damage(const std::exception& error);
};

} // namespace turnstone
