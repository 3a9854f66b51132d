package peers.validator;

import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.ObjectMapper;
import java.io.IOException;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.regex.Pattern;

/**
 * A kind of warning that is accepted, and why. It fits when the message id is the same and the pattern is found in
 * the text. Errors can't be allowed.
 */
record Allowance(String id, Pattern text, String reason) {

    /** Reads a JSON array of {@code {"id", "text", "reason"}}; an entry without any of the three is refused. */
    static List<Allowance> read(Path file) throws IOException {
        List<Allowance> allowances = new ArrayList<>();
        for (JsonNode entry : new ObjectMapper().readTree(file.toFile())) {
            allowances.add(new Allowance(
                    required(entry, "id"), Pattern.compile(required(entry, "text")), required(entry, "reason")));
        }
        return allowances;
    }

    boolean fits(Message warning) {
        return warning.id().equals(id) && text.matcher(warning.text()).find();
    }

    private static String required(JsonNode entry, String field) throws IOException {
        String value = entry.path(field).asText();
        if (value.isBlank()) {
            throw new IOException("an allowed warning has no \"" + field + "\": " + entry);
        }
        return value;
    }
}
