import java.io.FileInputStream;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import org.hl7.fhir.utilities.npm.NpmPackage;

/**
 * Lets the package reader of the HL7 reference implementation read a package, and writes what it read
 * into a folder for the judges: {@code Load PACKAGE FOLDER}.
 */
public final class Load {
    public static void main(String[] args) throws Exception {
        NpmPackage npm;
        try (InputStream bytes = new FileInputStream(args[0])) {
            npm = NpmPackage.fromPackage(bytes);
        }
        System.out.printf(
                "%s %s, FHIR %s, canonical %s%n",
                npm.name(), npm.version(), npm.fhirVersion(), npm.canonical());
        int count = 0;
        for (String type : new String[] {
            "CapabilityStatement", "CodeSystem", "ConceptMap", "ImplementationGuide", "NamingSystem",
            "ObservationDefinition", "Questionnaire", "StructureDefinition", "ValueSet"
        }) {
            // Found by the index of the package, not by looking into its files.
            for (String name : npm.listResources(type)) {
                try (InputStream resource = npm.loadResource(name)) {
                    Files.write(Path.of(args[1], name), resource.readAllBytes());
                    count++;
                }
            }
        }
        System.out.println(count + " resources found by the index");
    }
}
