#pragma once
/// The inside of RecordingReader, shared by its source files.
#include <cstddef>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/format/series_rows.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

struct RecordingReader::State {
    State(const std::filesystem::path& file, bool pass_over_damage)
        : path(file), passing_over_damage(pass_over_damage),
          database(file, pass_over_damage ? Database::Mode::damaged : Database::Mode::read_only) {}
    std::filesystem::path path;
    bool passing_over_damage;
    Database database;
    std::vector<StoredTable> tables;
    Schema schema;
    std::string damage;

    [[nodiscard]] std::string meta(const std::string& key);
    /// A live recording's series get their tables one by one. First in a read transaction; what follows is about it.
    void look_for_series();
    [[nodiscard]] bool has_rows(std::size_t table) const { return has_rows_[table]; }
    /// All columns of a series, prepared at first use; null while it has no rows.
    [[nodiscard]] SeriesRows* rows_of(std::size_t table);
    void note_damage(const std::exception& error);

  private:
    std::vector<bool> has_rows_;
    std::vector<std::unique_ptr<SeriesRows>> rows_;
    std::int64_t schema_version_ = -1; ///< that has_rows_ is about
};

} // namespace turnstone
