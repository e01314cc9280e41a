#include "server/record/recordable.hpp"

#include <exception>

#include "server/record/format/layout.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

std::optional<std::string> why_not_recordable(const Schema& schema) {
    try {
        Database database(":memory:", Database::Mode::create);
        database.execute("BEGIN");
        database.execute(kSchemaSql);
        write_words(database);
        create_tables(database, name_tables(schema));
        database.execute("COMMIT");
    } catch (const std::exception& error) { // SqliteError, or a table with too many columns
        return error.what();
    }
    return std::nullopt;
}

std::optional<std::string> why_not_recordable(const PipelineSetup& setup) {
    return why_not_recordable(Pipeline(setup, 0).schema());
}

} // namespace turnstone
